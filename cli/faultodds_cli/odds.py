"""`faultodds odds`: how likely each fault is, and how its odds came about; nothing is kept."""

from __future__ import annotations

from faultodds_cli.shared import options
from faultodds_cli.shared.call import NO_SHOP, call_as_given
from faultodds_cli.shared.printing import say, say_json

app = options.new_app("Fault odds from what you know now, and how they came about.")


@app.command()
def odds(
    fact: options.Fact = None,
    found: options.Found = None,
    reading: options.Reading = None,
    repaired: options.Repaired = None,
    after: options.After = None,
    ambient: options.Ambient = None,
    top: options.Top = 8,
    figure: options.Figure = None,
    force: options.Force = False,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    revision: options.Revision = None,
    as_json: options.Json = False,
) -> None:
    """How likely each fault is now, what it was before, and what each finding multiplied the odds of the leading ones by.
    With --figure, a picture of the odds after each of them.

    Example: faultodds odds --found heat=none --found fuse_continuity=closed
    """
    options.refuse_figure(figure, force, "odds.png")
    view = call_as_given(
        appliance, fact, found, reading, repaired, after, ambient=ambient, revision=revision, shop=NO_SHOP,
        technician=NO_SHOP,
    )  # fmt: skip
    if figure is not None:
        from faultodds.charts import draw_course

        draw_course(view.appliance.knowledge, view.belief, figure)
    if as_json:
        from faultodds.advice import odds_answer

        say_json(odds_answer(view.appliance, view.belief))
        return
    from faultodds_cli.shared.show_known import evidence_lines, left_out_lines, revision_lines, unlisted_lines
    from faultodds_cli.shared.show_odds import course_lines, odds_lines
    from faultodds_cli.shared.text import paragraphs

    parts = [
        evidence_lines(view),
        odds_lines(view, top),
        course_lines(view.appliance.knowledge, view.belief),
        unlisted_lines(view),
    ]
    say(paragraphs([*parts, left_out_lines(view), revision_lines(view.appliance)]))
