"""Logs that keep bad results only: noticed, said, and not learned from as if they were whole."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from faultodds.knowledge import overlay
from faultodds.tuning.draw import draw_log
from faultodds.tuning.encode import Encoder, silent_start
from faultodds.tuning.fitting import fit
from faultodds.tuning.missing import eligible, heard, recorded
from faultodds.tuning.settings import Settings
from rich_toy import WORTH, rich_structure, rich_toy

FULL = Settings(strengths=WORTH, omitted_target=0.0)
CHECK = "found:fuse_test"
FACT = "fact:age"
SHARE = "component/fuse/modes/open/share"
FALSE_ALARM = "check/fuse_test/leak/open"


def _log(jobs: int = 1200, missing: float = 0.5) -> pd.DataFrame:
    return draw_log(rich_toy(), jobs, 12, missing, guesses_of=rich_structure())


def _place() -> int:
    return rich_structure().observables.index(CHECK.removeprefix("found:"))


def _bad_only(log: pd.DataFrame) -> pd.DataFrame:
    out = log.copy()
    out.loc[out[CHECK] == "closed", CHECK] = None
    return out


def test_a_whole_record_raises_no_alarm() -> None:
    """A log with gaps that depend on nothing is taken as it is."""
    learned = fit(rich_toy(), _log(), FULL)
    assert not learned.silence.heard[_place()]
    assert not any("bad results" in n for n in learned.notes)


def test_gaps_that_depend_on_what_is_on_record_do_no_harm() -> None:
    """A fuse tested only where the machine is silent is an honest record: no alarm, and the share stays right."""
    log = draw_log(rich_toy(), 3000, 12, 0.0, guesses_of=rich_structure())
    log.loc[log["found:listen"] != "silent", CHECK] = None
    learned = fit(rich_toy(), log, FULL)
    assert not learned.silence.heard[_place()]
    assert abs(learned.numbers[SHARE] - overlay.value(rich_toy(), SHARE)) < 4


def test_bad_results_only_are_noticed() -> None:
    """When the normal results of a check are thrown away, that check and no other is named; its numbers stay near the file's."""
    learned = fit(rich_toy(), _bad_only(_log()), FULL)
    (note,) = [n for n in learned.notes if "only the bad results" in n]
    assert "fuse_test" in note
    assert "and 0 normal" in note
    assert "listen" not in note
    link = "check/fuse_test/links/fuse.open/open"
    assert learned.numbers[link] == pytest.approx(learned.file[link], abs=0.04)


def test_a_silent_check_is_learned_as_if_its_record_were_whole() -> None:
    """Read as it stands, a bad-results-only log makes false alarms look like the rule; hushed, the numbers come back."""
    log = _log(3000, 0.6)
    whole, careful = fit(rich_toy(), log, FULL).numbers, fit(rich_toy(), _bad_only(log), FULL)
    naive = _without_looking(_bad_only(log), FULL)
    assert careful.silence.heard[_place()]
    assert abs(careful.numbers[SHARE] - whole[SHARE]) < 1.5
    assert careful.numbers[FALSE_ALARM] == pytest.approx(whole[FALSE_ALARM], abs=0.01)
    assert naive[FALSE_ALARM] > 0.5


def _without_looking(log: pd.DataFrame, settings: Settings) -> dict[str, float]:
    """The numbers as learned by a learner that takes the record as whole."""
    from faultodds.tuning.ascent import Ascent
    from faultodds.tuning.guesses import prepared
    from faultodds.tuning.likelihood import Silence
    from faultodds.tuning.places import numbers, places_of
    from faultodds.tuning.statistics import statistics

    s = rich_structure()
    chunk = prepared(s, Encoder(s).encode(log), Silence.none(s))
    ascent = Ascent(s, settings, Silence.none(s), s.families.prior)
    ascent.climb(lambda theta, silence: statistics(s, chunk, theta, silence))
    return numbers(places_of(s.knowledge, s.suspects, s.families), ascent.theta)


def test_a_check_read_wrongly_is_told_apart() -> None:
    """More bad results than the faults can bring are not a silent record: a band or a unit is wrong, and the note says so."""
    log = _log(1000, 0.3)
    log.loc[log[CHECK].notna(), CHECK] = "open"
    learned = fit(rich_toy(), log, FULL)
    assert not learned.silence.heard[_place()]
    (note,) = [n for n in learned.notes if "More bad results than" in n]
    assert "fuse_test" in note
    assert "[reading.*]" in note


def test_what_a_machine_lacks_is_not_silent() -> None:
    """A check counts as silent only where the machine can have it done; the proving run never does."""
    s = rich_structure()
    chunk = Encoder(s, merge=False).encode(_log(30))
    assert not eligible(s, chunk)[:, s.verify].any()
    assert recorded(s, chunk).sum() == sum(
        _log(30)[c].notna().sum() for c in _log(30).columns if c.startswith("found:")
    )
    learned = fit(rich_toy(), _bad_only(_log()), FULL)
    column = _place()
    quiet = heard(s, chunk, learned.silence)
    silent = quiet.evidence[:, [silent_start(s) + column]].toarray().ravel() > 0
    assert (silent == ~recorded(s, chunk)[:, column]).all()


def _notable_only(log: pd.DataFrame) -> pd.DataFrame:
    """The log with the usual value of the fact `age` left out."""
    out = log.copy()
    usual = out[FACT].value_counts().idxmax()
    out.loc[out[FACT] == usual, FACT] = None
    return out


def test_facts_written_down_only_when_unusual_are_noticed() -> None:
    """Where the usual value of a fact is never written down, gaps are read as mostly that value, and the note names the fact."""
    log = draw_log(rich_toy(), 1500, 3, 0.0, guesses_of=rich_structure())
    whole, quiet = fit(rich_toy(), log, FULL), fit(rich_toy(), _notable_only(log), FULL)
    assert (whole.silence.facts == 1.0).all()
    assert quiet.silence.facts.min() < 0.2
    assert any("out of the ordinary: age" in note for note in quiet.notes)
    for path in (p for p in whole.numbers if p.startswith("context/age/")):
        assert quiet.numbers[path] == pytest.approx(whole.numbers[path], rel=0.25)


def test_a_fact_that_is_merely_often_missing_is_not_silent() -> None:
    """Gaps that fall on every value alike say nothing."""
    learned = fit(rich_toy(), draw_log(rich_toy(), 1500, 3, 0.8, guesses_of=rich_structure()), FULL)
    assert (learned.silence.facts == 1.0).all()


def _doubtful(log: pd.DataFrame, cell: str, share: float) -> pd.DataFrame:
    """The log with the first `share` of the check's results written as `cell`."""
    out = log.copy()
    told = np.flatnonzero(out[CHECK].notna())
    out[CHECK] = out[CHECK].astype(object)
    out.loc[out.index[told[: int(share * len(told))]], CHECK] = cell
    return out


def test_readings_that_could_mean_either_teach_nothing() -> None:
    """A thousand readings a shade likelier with a bad fuse would make false alarms the rule; they are left out, and it is said."""
    log = _doubtful(_log(2000, 0.3), "closed:0.45|open:0.55", 1.0)
    learned = fit(rich_toy(), log, FULL)
    (note,) = [n for n in learned.notes if "one result as well as another" in n]
    assert "fuse_test" in note
    assert "listen" not in note
    assert learned.numbers[FALSE_ALARM] == pytest.approx(learned.file[FALSE_ALARM], abs=1e-6)
    assert learned.spoke[FALSE_ALARM] == 0.0
    assert _without_looking(log, FULL)[FALSE_ALARM] > 0.5


def test_doubtful_readings_among_clear_ones_are_learned_from() -> None:
    """A check is left out only when most of its readings say nothing, or readings near a limit would be picked out for silence."""
    for cell, share in (("closed:0.45|open:0.55", 0.3), ("closed:0.1|open:0.9", 1.0)):
        learned = fit(rich_toy(), _doubtful(_log(2000, 0.3), cell, share), FULL)
        assert not learned.silence.unclear.any()
        assert learned.spoke[FALSE_ALARM] > 100
