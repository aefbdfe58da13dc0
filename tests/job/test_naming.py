"""Words that vouch for safety, and entries that are not taken for more than they say."""

from __future__ import annotations

import re
import tomllib
from contextlib import suppress
from pathlib import Path

import pytest

from faultodds.belief import Appliance
from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.job import OpenJob, Store, clearing, sayings
from faultodds.job.clearing import lacking
from faultodds.safety import danger as danger_words, hazard_of, stop_text, told_over

VOUCHED = (
    "supplier came, meter and joints tested, no leak",
    "gas company, no leak found, meter reads zero",
    "nobody ill, CO meter reads 0",
)
TURNED = ("it is not {}", "nobody {}", "never {}", "dunno if {}", "i think {}", "isnt {}", "{} maybe", "{}?", "un{}")


#: What tells of each danger.
TOLD = {
    "gas": "i smell gas",
    "co": "co alarm going off",
    "ill": "customer has a headache",
    "fire": "smoke from the dryer",
    "shock": "got a shock off the cabinet",
    "defeated": "thermal fuse bypassed",
}
CLEARANCES = tomllib.loads(Path(__file__).with_name("clearances.toml").read_text("utf-8"))


#: Whose word the stop is left to, so that a line is judged by the result that it tells.
WHOSE = {"gas": "fitter", "co": "fire service", "ill": "fire service", "fire": "fire service", "shock": "electrician"}
WHOSE_WORD = tomllib.loads(Path(__file__).with_name("whose_word.toml").read_text("utf-8"))


def _lines(kind: str) -> list[tuple[str, str]]:
    return [(danger, line) for danger, lines in CLEARANCES[kind].items() for line in lines]


def _stopped(store: Store, dryer: Appliance, danger: str, line: str) -> OpenJob:
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen("forgot the soap test on the union" if danger == "defeated" and "soap" in line else TOLD[danger])
    return visit


def _clears(store: Store, dryer: Appliance, danger: str, line: str) -> bool:
    visit = _stopped(store, dryer, danger, line)
    with suppress(FaultoddsError, SafetyStop):
        visit.safe(line)
    return visit.job.stopped is None


def _shows(words: str, sign: str, dryer: Appliance) -> bool:
    stop = dryer.knowledge.stop[sign]
    return not lacking(words, hazard_of(sign, stop.title), stop)


def _by_them(danger: str, line: str) -> str:
    return f"{WHOSE[danger]}: {line}" if danger in WHOSE else line


def _clears_after(store: Store, dryer: Appliance, told: str, line: str) -> bool:
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen(told)
    with suppress(FaultoddsError, SafetyStop):
        visit.safe(line)
    return visit.job.stopped is None


@pytest.mark.parametrize("told", WHOSE_WORD["clears"])
def test_whom_the_steps_send_for_clears_it(dryer: Appliance, store: Store, told: str) -> None:
    """Or a technician who says to be licensed for it."""
    assert [line for line in WHOSE_WORD["clears"][told] if not _clears_after(store, dryer, told, line)] == []


@pytest.mark.parametrize("told", WHOSE_WORD["asks"])
def test_nobody_else_clears_what_is_left_to_others(dryer: Appliance, store: Store, told: str) -> None:
    """However good the result, and whoever was only called, awaited or wished for."""
    assert [line for line in WHOSE_WORD["asks"][told] if _clears_after(store, dryer, told, line)] == []


def test_who_is_asked_for_is_told(dryer: Appliance, store: Store) -> None:
    """Where nothing else is missing."""
    visit = _stopped(store, dryer, "gas", "")
    with pytest.raises(FaultoddsError, match="the gas supplier, the fire service or somebody licensed for gas"):
        visit.safe("me, leak tested, passed")
    assert visit.job.stopped is not None


def test_who_is_not_qualified_is_not_licensed_either(dryer: Appliance, store: Store) -> None:
    """Said before, and not taken back."""
    visit = OpenJob.start(store, dryer, qualified=False)
    with pytest.raises(SafetyStop):
        visit.listen("i smell gas")
    with pytest.raises(FaultoddsError, match="leave this to"):
        visit.safe("I am licensed for gas, every joint soap tested, no bubbles")
    visit.safe("licensed plumber: every joint soap tested, no bubbles")
    assert visit.job.stopped is None


def test_every_stop_that_sends_for_somebody_is_left_to_them(dryer: Appliance) -> None:
    """Whatever its title, a stop whose steps name somebody else takes their word; one that names nobody takes the technician's."""
    raw = tomllib.loads(Path(danger_words.__file__).with_name("danger.toml").read_text("utf-8"))
    stops = [(stop.title, stop.steps) for stop in dryer.knowledge.stop.values()]
    stops += [(title, steps) for title, *steps in raw["steps"].values()]
    stops += [(named["title"], named["steps"]) for named in raw["named"] if "steps" in named]
    to = {title: clearing.left_to(stop_text(title, steps)) for title, steps in stops}
    assert set(to.values()) == {"gas", "supply", "electric", "emergency", "fire", ""}
    sends = re.compile("emergency number|supplier|licensed|qualified|fire service")
    assert [title for title, steps in stops if bool(to[title]) != bool(sends.search(" ".join(steps)))] == []


@pytest.mark.parametrize(
    ("name", "instead", "now_clears"),
    [
        ("absent", "zzz", "called the gas company, then soaped all joints, no bubbles"),
        ("another", "zzz", "my boss is licensed, i soaped it, no bubbles"),
        ("away", "zzz", "gas man refused, soap tested it, no bubbles"),
        ("by_me", "zzz", "the gas man looked, i tested it, no bubbles"),
        ("of_them", "zzz", "gas company bill paid, soap test clean"),
        ("related", "zzz", "tenants dad, gas fitter: every joint soaped, no bubbles"),
        ("unfit", "zzz", "customer is a gas engineer, soaped all, no bubbles"),
    ],
)
def test_a_planted_mistake_in_whose_word_is_caught(
    dryer: Appliance, store: Store, monkeypatch: pytest.MonkeyPatch, name: str, instead: str, now_clears: str
) -> None:
    """A family of words that is lost lets through what must be asked about."""
    told = "there is a leak at the flex"
    assert not _clears_after(store, dryer, told, now_clears)
    clearing._whose.cache_clear()
    monkeypatch.setitem(clearing._words()["whose"], name, instead)
    assert _clears_after(store, dryer, told, now_clears)
    clearing._whose.cache_clear()


PROTECTION, TOGETHER = (
    "takes away what protects people, and mends nothing",
    "puts neutral and earth together, and mends neither",
)


@pytest.mark.parametrize(
    ("told", "reason", "now_clears"),
    [
        ("rcd trips when it heats", PROTECTION, "electrician: rcd bypassed, motor replaced, insulation 500 megohm"),
        (
            "lights go bright in the lounge and dim in the bath",
            TOGETHER,
            "electrician joined neutral to ground, neutral remade, 120 V under load, polarity tested good",
        ),
    ],
)
def test_a_planted_mistake_in_what_speaks_against_it_is_caught(
    dryer: Appliance, store: Store, monkeypatch: pytest.MonkeyPatch, told: str, reason: str, now_clears: str
) -> None:
    """Without its words, what makes it worse would clear it."""
    assert not _clears_after(store, dryer, told, now_clears)
    left = [each for each in clearing._words()["against"] if each["told"] != reason]
    assert len(left) == len(clearing._words()["against"]) - 1
    monkeypatch.setitem(clearing._words(), "against", left)
    assert _clears_after(store, dryer, told, now_clears)


def test_nothing_less_than_a_good_result_clears_a_danger(dryer: Appliance, store: Store) -> None:
    """Not one of them, whoever says it; and who is refused is told why, and what to type."""
    stays = _lines("stays")
    assert len(stays) >= 240
    assert [line for danger, line in stays if _clears(store, dryer, danger, line)] == []
    assert [line for danger, line in stays if _clears(store, dryer, danger, _by_them(danger, line))] == []
    for danger, line in stays:
        visit = _stopped(store, dryer, danger, line)
        with pytest.raises(FaultoddsError) as refused:
            visit.safe(line)
        if not isinstance(refused.value, SafetyStop):
            assert "such as: " in str(refused.value) or "what did the test show?" in str(refused.value), line


def test_a_good_result_clears_it_in_a_technicians_words(dryer: Appliance, store: Store) -> None:
    """Nine in ten of them; what is refused is asked for, and none of it is a new alarm."""
    clears = [(danger, _by_them(danger, line)) for danger, line in _lines("clears")]
    assert len(clears) >= 120
    refused = [line for danger, line in clears if not _clears(store, dryer, danger, line)]
    assert len(refused) <= len(clears) // 10, refused


@pytest.mark.parametrize("danger", TOLD)
def test_the_example_that_is_told_clears(dryer: Appliance, store: Store, danger: str) -> None:
    """What the program itself shows is enough."""
    assert _clears(store, dryer, danger, told_over(danger))


@pytest.mark.parametrize(
    "told",
    [
        "gas cock stiff, wont shut",
        "gas off, still lit",
        "lights with a bang",
        "reversed polarity at the outlet",
        "breaker off, still live",
    ],
)
def test_the_example_of_what_has_a_title_of_its_own_clears(dryer: Appliance, store: Store, told: str) -> None:
    """It speaks of what was told, and is the one that is shown."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen(told)
    with pytest.raises(FaultoddsError) as refused:
        visit.safe("me")
    shown = str(refused.value).partition('--note "')[2].rstrip('"')
    visit.safe(shown)
    assert visit.job.stopped is None


@pytest.mark.parametrize(
    ("family", "name", "instead", "now_clears"),
    [
        ("bad", "any", "zzz", "supplier: pressure held 10 min, union tested, then it dropped"),
        ("words", "gas_off", "zzz", "supplier: soaped with gas off, no bubbles"),
        ("words", "mended", "ran|the", "supplier: soap tested, bubbles at the union, no bubbles"),
    ],
)
def test_a_planted_mistake_is_caught(
    dryer: Appliance,
    store: Store,
    monkeypatch: pytest.MonkeyPatch,
    family: str,
    name: str,
    instead: str,
    now_clears: str,
) -> None:
    """A family of words that is lost lets through what must not clear."""
    assert not _clears(store, dryer, "gas", now_clears)
    words = clearing._words()
    clearing._compiled.cache_clear()
    monkeypatch.setitem(words[family], name, instead)
    assert _clears(store, dryer, "gas", now_clears)
    clearing._compiled.cache_clear()


@pytest.mark.parametrize(
    ("told", "less", "enough"),
    [
        (
            "isolator wont turn",
            (
                "every gas joint soap tested, no bubbles",
                "supplier tested tight, no leak",
                "cock still seized, soap tested, no bubbles",
            ),
            (
                "supplier: new isolator fitted, soap tested, no bubbles",
                "gas fitter: cock freed and shuts now, soap tested with gas on, no bubbles",
            ),
        ),
        (
            "hot and neutral reversed",
            ("insulation 500 megohm", "cabinet to earth 0.1 ohm", "electrician: earth tested good"),
            (
                "electrician rewired the outlet, polarity and earth tested good",
                "electrician: polarity put right, tested ok",
            ),
        ),
        (
            "lights with a bang",
            ("ran 20 min, no smoke", "inspected whole machine, no burn marks"),
            (
                "fitter: new coils in, lights at once ten times, burner tested ok, no smoke",
                "licensed for gas: igniter replaced, burner tested, lights clean, no flames",
            ),
        ),
    ],
)
def test_what_has_a_title_of_its_own_is_over_once_it_is_put_right(
    dryer: Appliance, store: Store, told: str, less: tuple[str, ...], enough: tuple[str, ...]
) -> None:
    """A good test of something else shows nothing about it."""

    def clears(words: str) -> bool:
        visit = OpenJob.start(store, dryer)
        with pytest.raises(SafetyStop):
            visit.listen(told)
        with suppress(FaultoddsError, SafetyStop):
            visit.safe(words)
        return visit.job.stopped is None

    assert [words for words in less if clears(words)] == []
    assert [words for words in enough if not clears(words)] == []


@pytest.mark.parametrize("words", VOUCHED)
def test_a_denial_of_danger_shows_that_it_is_over(words: str) -> None:
    """It is no denial of being safe."""
    assert not lacking(words, "co" if "CO" in words else "gas")


@pytest.mark.parametrize(
    "words",
    ["i say so, opened a window", "gas man was here", "aired it out, smell gone", "customer says fine", "all good now"],
)
def test_nobody_vouches_without_having_made_sure(words: str) -> None:
    """Air let in and somebody's word prove nothing."""
    assert lacking(words, "gas")


#: Tested, and found bad; tested long ago, or in part. Written by somebody who had not seen the program, and more of the kind.
TESTED_BAD = (
    *("tested: gas at the connector", "tested it: gas", "supplier tested the joints: gas at two of them"),
    *(
        "detector tested positive at the union",
        "joints tested: reading 20 at the union",
        "joint tested, reading climbing",
    ),
    *("tested with soap: fizz at the nut", "soap tested: foam grows at the cock", "soap test, froth at the flare"),
    *(
        "detector beeps at the union, tested",
        "tested, gas coming from the valve",
        "meter shows 15 at the joint, tested",
    ),
    *("gas joints tested last year", "joints tested a month ago", "half the joints tested tight"),
    *("tested two of three joints", "joints tested with soap, one to redo", "all but one joint tested tight"),
    "my dog sniffed it, tested tight",
)
TESTED_GOOD = (
    *("all joints soap tested, no bubbles", "gas at the union: tightened, retested with soap, no bubbles"),
    *(
        "supplier tested all joints tight",
        "leak detector on every joint, nothing found",
        "union remade and soap tested tight",
    ),
    *("pressure test held 10 minutes, all joints tight", "supplier came, meter and joints tested, no leak"),
)


def test_a_bad_or_an_old_result_is_no_proof(dryer: Appliance) -> None:
    """That something was tested is not that it is right: what the test showed, when, and of how much, counts."""
    assert [words for words in TESTED_BAD if _shows(words, "gas_smell", dryer)] == []
    assert [words for words in TESTED_GOOD if not _shows(words, "gas_smell", dryer)] == []
    assert not _shows("measured CO in the laundry", "co_alarm", dryer)
    assert _shows("measured CO in the laundry, 0 ppm with the burner on", "co_alarm", dryer)


NO_PROOF = {
    "smell of gas": (
        *(
            "tightened union, smells fine",
            "union remade",
            "new gas valve in, no smell",
            "retightened the joint, cant smell it",
        ),
        *(
            "tested the union with my nose",
            "smell tested the joints",
            "new flex connector fitted",
            "tightened union, co meter reads 0",
        ),
        *(
            "tightened the nut, igniter tested",
            "sniffed the joint, checked twice",
            "valve replaced, aired out",
            "union checked, no smell",
        ),
        *(  # tested, and no word of what that showed
            "supplier came, joints tested",
            "soap tested the union with dryer off, no smell",
            "new connector in and soap tested",
            "tightened the flare, bubble tested the joint",
            "union soap tested twice, no smell",
        ),
    ),
    "co alarm going off": (
        *(
            "co meter 0 w dryer off",
            "battery changed in co alarm, quiet now",
            "co reads 0, dryer is off",
            "0 ppm, machine unplugged",
        ),
        *(
            "new co alarm in, it is quiet",
            "co alarm replaced",
            "co alarm tested, works",
            "measured co before it ran, 0 ppm",
        ),
        *(
            "co meter 0, not running",
            "alarm reset and checked",
            "vent cleaned, alarm quiet",
            "co 0 ppm with the machine turned off",
        ),
        "alarm battery replaced, co reads 0 with it cold",
    ),
}
PROOF = {
    "smell of gas": (
        *(
            "tightened union, soap tested, dry",
            "soaped the union, no bubbles",
            "gas pressure test held 10 min",
        ),
        *("leak tested with the gas on, none found",),
        *(
            "gas detector tested at the cock, zero",
            "joint remade and soaped, no leak",
        ),
        "gas company came, gas meter reads zero",
    ),
    "co alarm going off": (
        *(
            "co 0 ppm with the dryer running 15 min",
            "co 0 w dryer running 20 min",
            "vent refitted, co measured 0 while it ran",
        ),
        *(
            "0 ppm dryer off, 2 ppm with it running",
            "fitter measured co, none left",
            "co meter reads 0 after a full run",
            "co zero, burner lit",
        ),
        *(
            "vent cleaned, ran it 15 min, co reads 0",
            "fire service measured co in the room, none",
            "meter shows co 0 ppm, dryer on high",
        ),
        *("burner cleaned, co reading 1 ppm running", "flue put back, signed off, co meter reads 0"),
    ),
}


@pytest.mark.parametrize(("danger", "remark"), [(danger, said) for danger, each in NO_PROOF.items() for said in each])
def test_what_was_not_measured_is_asked_for(dryer: Appliance, store: Store, danger: str, remark: str) -> None:
    """A nose, a quiet alarm, a meter beside a machine that is off: the job stays stopped, and what is missing is told."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen(danger)
    missing = "soap-tested with the gas on" if "gas" in danger else "CO in the room measured, machine running"
    with pytest.raises(FaultoddsError, match=missing):
        visit.safe(remark)
    assert visit.job.stopped is not None


@pytest.mark.parametrize(("danger", "remark"), [(danger, said) for danger, each in PROOF.items() for said in each])
def test_what_was_measured_is_taken(dryer: Appliance, store: Store, danger: str, remark: str) -> None:
    """In the words people use."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen(danger)
    visit.safe(_by_them("co" if danger.startswith("co") else "gas", remark))
    assert visit.job.stopped is None


@pytest.mark.parametrize(
    "danger", ["didnt soap it, no soap", "no leak test on the union", "put the union back, not tested"]
)
def test_a_test_that_was_left_out_is_made_before_it_is_safe(dryer: Appliance, store: Store, danger: str) -> None:
    """The work left undone has no sign of its own; the sign whose test it was asks for it."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen(danger)
    with pytest.raises(FaultoddsError, match="soap-tested with the gas on"):
        visit.safe("tightened union, smells fine")
    visit.safe("soaped the union, dry")
    assert visit.job.stopped is None


@pytest.mark.parametrize("danger", ["thermal fuse bypassed and running", "exhaust not hooked up", "cheater on door sw"])
def test_a_bypass_asks_for_no_soap(dryer: Appliance, store: Store, danger: str) -> None:
    """It is safe when it is out."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen(danger)
    visit.safe("taken out and put right, checked good")
    assert visit.job.stopped is None


@pytest.mark.parametrize(
    ("remark", "taken"),
    [
        ("smelt gas, supplier came, tested tight, ok to go on", True),
        ("smelt gas, fitter remade the union, soap tested, no bubbles", True),
        ("gas off, supplier cleared it, no leak found", False),
        ("smelled gas on arrival, supplier found nothing", False),
    ],
)
def test_how_a_stop_was_cleared_is_no_new_alarm(dryer: Appliance, store: Store, remark: str, taken: bool) -> None:
    """Taken where something was tested; else it is asked for, and nothing is stopped anew."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen("i smell gas")
    before = visit.job.stopped
    if taken:
        visit.safe(remark)
        assert visit.job.stopped is None
    else:
        with pytest.raises(FaultoddsError, match="soap-tested with the gas on") as refused:
            visit.safe(remark)
        assert not isinstance(refused.value, SafetyStop) and visit.job.stopped == before


@pytest.mark.parametrize(
    "remark", ["joints soap tested but i can smell gas", "supplier tested the joints, smells again"]
)
def test_a_danger_that_is_still_there_stops_anew(dryer: Appliance, store: Store, remark: str) -> None:
    """Whatever was tested before."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen("i smell gas")
    with pytest.raises(SafetyStop):
        visit.safe(remark)


@pytest.mark.parametrize("turned", TURNED)
@pytest.mark.parametrize("said", ["safe", "checked", "tested"])
def test_a_denial_or_doubt_does_not_vouch(dryer: Appliance, store: Store, turned: str, said: str) -> None:
    """Alone, or beside what vouches; the job stays stopped, and the words are kept."""
    visit = OpenJob.start(store, dryer)
    with pytest.raises(SafetyStop):
        visit.listen("i smell gas")
    for remark in (f"it was {turned.format(said)}", f"{VOUCHED[0]}, {turned.format(said)}"):
        with pytest.raises(FaultoddsError):
            visit.safe(remark)
        assert visit.job.stopped is not None and visit.job.notes[-1].endswith(remark)
    visit.safe(VOUCHED[0])
    assert visit.job.stopped is None


def test_the_safety_answers_are_not_undone(dryer: Appliance, store: Store) -> None:
    """Whatever came after them is."""
    visit = OpenJob.start(store, dryer)
    visit.safety_asked()
    visit.note("key next door")
    visit.undo()
    with pytest.raises(FaultoddsError, match="stay with the job"):
        visit.undo()
    assert len(visit.job.notes) == 1


def test_a_question_mark_is_asked_about(dryer: Appliance, store: Store) -> None:
    """Every outcome of every symptom and check, and every fact."""
    visit = OpenJob.start(store, dryer)
    k = dryer.knowledge
    for name, observable in k.observables.items():
        for outcome in observable.outcomes:
            with pytest.raises(FaultoddsError, match="question mark"):
                visit.judge(name, f"{outcome}?")
    for name, fact in {**k.equipment, **k.context}.items():
        with pytest.raises(FaultoddsError, match="question mark"):
            visit.fact(name, f"{next(iter(fact.values))}?")
    assert not visit.job.findings and not visit.job.facts


@pytest.mark.parametrize("word", ["then", "but", "until", "and then", "till"])
def test_what_is_unread_behind_a_finding_may_turn_it(dryer: Appliance, word: str) -> None:
    """Nothing is noted, and it is asked about."""
    for found in ("hood flap weak", "lint screen coated"):
        said = sayings.understand(dryer.knowledge, f"{found}, {word} goes out")
        assert not {s.kind for s in said} & {"finding", "fact", "machine", "repair"}
