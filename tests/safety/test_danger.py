"""Danger in the words people use.

The 240 phrases that must stop and the 240 that must not were written for this test by somebody who knew the trade and had
not seen the program: symptoms, notes, log lines and readings, with slang, misspellings and denials, in the English of
several countries. They were cut in two halves, even and odd; the words of `danger.toml` were made on the even half, and
then heard 102 of 120 and passed over 101 of 120 on the odd half before anybody had looked at it. What that showed was mended
by families of words. New phrases belong here first. Behind them stand the titles of jobs that another such person wrote later:
of 110 that must stop 55 were heard at first sight, of 150 that must not 145 were passed over; one of these still stops, in doubt.

The families of `danger_attack.toml` came from lines that a fresh technician had typed in vain. They were written before the words
were mended; the "second look" and the "third look" were written after that, and of them 39 of 76 and 62 of 73 dangers were heard
at first sight, 66 of 66 and 74 of 76 calm lines passed over (before the families were mended, 16 of the 76). The last families,
from "joints that are open" on, came from the titles: their lines were written unseen in three lots, of which 104 of 123,
87 of 116 and 64 of 84 were heard at first sight and 125 of 128, 94 of 95 and 50 of 50 calm ones passed over, before what
was missed was mended. Of a second lot of titles 67 of 90 were heard and 108 of 110 passed over. The families from "devices
wedged, tied or left out" on are what it showed, written unseen in two lots, before and after they were mended: 14 of 85 and 46
of 80 heard at first sight, all 82 calm lines passed over; four lines that are dangers only in doubt were left out.
"""

from __future__ import annotations

import random
import re
import tomllib
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from faultodds.errors import SafetyStop
from faultodds.knowledge import load
from faultodds.readings import CO_STOP_PPM
from faultodds.safety import admits, danger, danger_in, denies, has_no_alarm, no_alarm_works, only_denies, stop_first
from faultodds.safety.danger import (
    STOP_PPM,
    _mended,
    hazard_of,
    hear,
    hear_now,
)

ATTACK = tomllib.loads(Path(__file__).with_name("danger_attack.toml").read_text("utf-8"))
FAMILIES = ATTACK.pop("family")


def phrases(name: str) -> list[dict[str, Any]]:
    """A list of phrases beside this file."""
    found = tomllib.loads(Path(__file__).with_name(f"{name}.toml").read_text("utf-8"))["phrase"]
    assert isinstance(found, list)
    return found


STOP = phrases("danger_stop")
NO_STOP = phrases("danger_no_stop")


def test_there_are_as_many_as_promised() -> None:
    """None is lost, none is there twice."""
    assert (len({p["text"] for p in STOP}), len({p["text"] for p in NO_STOP})) == (449, 504)


@pytest.mark.parametrize("phrase", STOP, ids=lambda p: p["text"])
def test_danger_is_heard(phrase: dict[str, Any]) -> None:
    """Every one of them stops."""
    assert hear(phrase["text"]) is not None


@pytest.mark.parametrize("phrase", NO_STOP, ids=lambda p: p["text"])
def test_what_only_sounds_like_danger_is_passed_over(phrase: dict[str, Any]) -> None:
    """None of them stops."""
    assert hear(phrase["text"]) is None


def test_the_danger_is_the_right_one() -> None:
    """Steps for gas are not steps for fire: the danger heard is the one that was meant, but for a few that tell of two."""
    heard = [(hear(p["text"]), p["hazard"]) for p in STOP]
    assert sum(h is not None and h.hazard == meant for h, meant in heard) >= len(STOP) - 10


@pytest.mark.parametrize("phrase", STOP, ids=lambda p: p["text"])
def test_harmless_words_before_a_danger_do_not_hide_it(phrase: dict[str, Any]) -> None:
    """A denial ends with its sentence."""
    for before in ("no smell of gas, no smoke, nobody sick. ", "coils 1.3k, hood strong. ", "sick and tired of this. "):
        assert hear(before + phrase["text"]) is not None, before


CLEARED = tomllib.loads(Path(__file__).with_name("danger_cleared.toml").read_text("utf-8"))


@pytest.mark.parametrize("note", CLEARED["over"])
def test_what_was_cleared_is_no_new_alarm(note: str) -> None:
    """In an answer to how it was cleared."""
    assert hear_now(note) is None


@pytest.mark.parametrize("note", CLEARED["now"])
def test_a_danger_that_is_there_is_never_taken_for_a_cleared_one(note: str) -> None:
    """Alone, behind what was cleared, and before it."""
    for said in ("{}", "supplier cleared it, {}", "smelt gas, union remade, soap tested, {}", "{}, joints soap tested"):
        assert hear_now(said.format(note)) is not None, said


def test_harmless_words_after_a_danger_do_not_hide_it() -> None:
    """Neither does one that begins after it."""
    after = (". no smoke", ". nobody sick", ", no heat", ", no flame", ", coils good")
    missed = [p["text"] + a for p, a in product(STOP, after) if hear(p["text"] + a) is None]
    assert missed == []


@pytest.mark.parametrize("made", ["{} ppm", "co {} ppm in the room", "CO meter reads {}", "carbon monoxide: {}ppm"])
def test_carbon_monoxide_stops_from_the_level_where_people_leave(made: str) -> None:
    """35 ppm stops, 34 does not, and it is the number that `calc co` goes by."""
    assert STOP_PPM == CO_STOP_PPM
    assert hear(made.format(35)) is not None
    assert hear(made.format(410)) is not None
    assert hear(made.format(34)) is None
    assert hear(made.format(0)) is None


@pytest.mark.parametrize(
    "reply",
    [
        *(
            "no",
            "n",
            "nah",
            "No.",
            "no smell",
            "nothing at all",
            "nope, none",
            "no gas",
            "never",
            "no to all",
            "no alarm",
        ),
        *("no smell of gas", "nobody sick", "no thanks", "no, sir", "can't smell gas", "none of them", "no, no flames"),
    ],
)
def test_a_plain_no(reply: str) -> None:
    """In the words people use."""
    assert denies(reply)


ANSWERS = tomllib.loads(Path(__file__).with_name("danger_answers.toml").read_text("utf-8"))


def test_a_no_is_a_no_and_nothing_less_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """The customer's too; who does not know, or cannot tell, has not said no. Planted: any word may stand beside a no."""
    assert [reply for reply in ANSWERS["no"] if not denies(reply)] == []
    assert [reply for reply in ANSWERS["unclear"] if denies(reply) or admits(reply) or hear(reply)] == []
    assert [reply for reply in ANSWERS["yes"] if denies(reply)] == []
    monkeypatch.setitem(danger.the_rules().denial, "plain_no", re.compile(r"(?:no|not|none|cant|customer).*"))
    assert [reply for reply in (*ANSWERS["unclear"], *ANSWERS["yes"]) if denies(reply)]


def test_an_answer_that_tells_that_it_happened_is_a_yes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever it begins with, and whatever was done about it. Planted: the words are lost."""
    answers = [*ANSWERS["happened"]]
    assert [reply for reply in answers if not (admits(reply) or hear(reply))] == []
    assert [reply for reply in answers if denies(reply)] == []
    calm = [*ANSWERS["nothing_told"], *ANSWERS["unclear"], *ANSWERS["no"]]
    assert [reply for reply in calm if admits(reply)] == []
    monkeypatch.setitem(danger.the_rules().denial, "happened", re.compile("zzz"))
    assert [reply for reply in answers if not (admits(reply) or hear(reply))]


def test_a_late_yes_and_one_with_a_doubt_are_a_yes(monkeypatch: pytest.MonkeyPatch) -> None:
    """And a doubt alone, or a yes taken back for a no, is neither. Planted: only the first word counts."""
    leaning = [*ANSWERS["late_yes"], *ANSWERS["leaning_yes"]]
    assert [reply for reply in leaning if not admits(reply)] == []
    assert [reply for reply in (*leaning, *ANSWERS["doubted"]) if denies(reply)] == []
    assert [reply for reply in ANSWERS["doubted"] if admits(reply)] == []
    monkeypatch.setitem(danger.the_rules().denial, "late_yes", re.compile("zzz"))
    assert [reply for reply in leaning if not admits(reply)]


YES_WORDS, NO_WORDS = ("yes", "yeah", "yep", "yup", "aye"), ("no", "nope", "nah", "none", "nothing")
TURNS = (
    "wait",
    "sorry",
    "hang on",
    "i mean",
    "actually",
    "scratch that",
    "hold on",
    "my mistake",
    "or rather",
    "typo",
    "...",
    "-",
    ",",
)


def test_what_was_said_last_counts_and_a_yes_is_never_cleared_by_what_stands_before_it() -> None:
    """Law over made answers: a no turned to a yes is a yes; a yes turned to a no is neither, and is asked."""
    for turn, yes, no in product(TURNS, YES_WORDS, NO_WORDS):
        for before, after in ((" ", " "), (", ", " "), (" ", ", "), ("... ", " ")):
            late, early = f"{no}{before}{turn}{after}{yes}", f"{yes}{before}{turn}{after}{no}"
            assert admits(late) and not denies(late), late
            assert not denies(early), early


def test_an_alarm_that_cannot_sound_is_none() -> None:
    """Flat, expired, unplugged; one that is only not known of is not."""
    assert [reply for reply in ANSWERS["alarm_out"] if not no_alarm_works(reply)] == []
    assert [reply for reply in (*ANSWERS["alarm_in"], *ANSWERS["no"]) if no_alarm_works(reply)] == []


@pytest.mark.parametrize(
    "reply", ["", "yes", "no but it smells", "not sure", "no idea", "no, a little", "none now, earlier yes"]
)
def test_no_plain_no(reply: str) -> None:
    """Anything else is none."""
    assert not denies(reply)


@pytest.mark.parametrize(
    "reply",
    [
        *("no kidding", "no, sort of", "no, took the batteries out", "no nose"),
        *(
            "no, unplugged it",
            "no, not today",
            "no, black marks",
            "n/a",
        ),
    ],
)
def test_a_no_with_more_to_it_is_asked_again(reply: str) -> None:
    """It begins with a no, and is none; nor is it a yes."""
    assert not admits(reply)
    assert not denies(reply)


@pytest.mark.parametrize(
    "reply",
    [
        *("yes", "Y", "yeah a bit", "yep", "a bit", "a very faint smell", "slightly", "sometimes", "it does", "I can"),
        *("there is", "strongly", "yes, not now", "no - customer did", "no, beeping stopped when we opened the window"),
    ],
)
def test_a_plain_yes(reply: str) -> None:
    """However small."""
    assert admits(reply)


@pytest.mark.parametrize(
    "reply",
    [
        *(
            "hm",
            "maybe",
            "not sure",
            "don't know",
            "the wife said something",
            "it is off",
            "it does not",
            "42",
            "sorry",
        ),
        *("heat=none", "supplier was here", "gas off, supplier cleared it, no leak found", "it's fine"),
    ],
)
def test_what_is_neither_yes_nor_no(reply: str) -> None:
    """It is asked about once more."""
    assert not admits(reply)
    assert not denies(reply)


@pytest.mark.parametrize("word", sorted({w for p in STOP for w in p["text"].split() if w.isalpha()} - {"no", "never"}))
def test_one_word_more_makes_a_no_plain_only_when_it_names_what_is_denied(word: str) -> None:
    """Of all the words that tell of danger, few may stand beside a no, and those behind a comma never."""
    assert not denies(f"no, {word}") or denies(word) or word in ("sir", "mate", "madam", "thanks")
    assert not denies(f"no {word} it is")


def test_no_alarm_to_sound_is_a_no() -> None:
    """But one that says that there is none."""
    for reply in ("No alarm in the house", "no, no alarm in the house", "no CO alarm fitted", "no detector at all"):
        assert denies(reply), reply
        assert has_no_alarm(reply), reply
    for reply in ("no", "no alarm", "alarm in the house", "no alarm in the house any more, it beeped"):
        assert not has_no_alarm(reply), reply


@pytest.mark.parametrize("text", [t for name, texts in ATTACK.items() if name != "innocent" for t in texts])
def test_what_was_written_to_get_past_is_heard(text: str) -> None:
    """Denials taken back, safety devices out of use, words that were missed, shocks."""
    assert hear(text) is not None


def test_a_faint_smell_is_gas() -> None:
    """Not somebody who faints: its steps touch no switch."""
    assert {heard.hazard if (heard := hear(text)) else None for text in ATTACK["faint_smells"]} == {"gas"}


@pytest.mark.parametrize("hazard", ["shock", "defeated"])
def test_a_shock_and_a_defeated_device_are_dangers_of_their_own(hazard: str) -> None:
    """With steps of their own."""
    for text in ATTACK[hazard]:
        heard = hear(text)
        assert heard is not None, text
        assert heard.hazard == hazard, text


TITLES = tomllib.loads(Path(__file__).with_name("danger_titles.toml").read_text("utf-8"))


def test_a_stop_is_called_by_what_was_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the sign's title only where its words fall; its neighbours are no danger. Planted: the titles are lost."""
    signs = {name: (sign.title, sign.steps) for name, sign in load("gas_dryer").stop.items()}
    told = [(hazard, title, line) for hazard, each in TITLES.items() for title, lines in each.items() for line in lines]

    def wrong() -> list[str]:
        first = [(danger_in(line, signs, ()) or "").partition("\n")[0] for _, _, line in told]
        meant = [f'STOP. {title}: "{line}".' if title else "" for _, title, line in told]
        return [f"{line} -> {got}" for (_, _, line), got, want in zip(told, first, meant, strict=True) if got != want]

    assert wrong() == []
    assert [title for hazard, title, _ in told if title and hazard_of("", title) not in (hazard, "defeated")] == []
    without = danger.the_rules()._replace(named=[])
    monkeypatch.setattr(danger, "the_rules", lambda: without)
    assert len(wrong()) > 40


@pytest.mark.parametrize("text", ATTACK["innocent"])
def test_their_innocent_neighbours_are_passed_over(text: str) -> None:
    """Nothing stops for them."""
    assert hear(text) is None


@pytest.mark.parametrize(("family", "text"), [(f, text) for f in FAMILIES for text in f["stop"]], ids=str)
def test_a_whole_family_of_danger_is_heard(family: dict[str, Any], text: str) -> None:
    """The line that was missed, and others of its kind, each with the steps that fit it."""
    heard = hear(text)
    assert heard is not None
    assert heard.hazard == family["hazard"]


@pytest.mark.parametrize("text", [text for family in FAMILIES for text in family["calm"]])
def test_the_calm_of_a_family_is_passed_over(text: str) -> None:
    """They share its words, and no danger."""
    assert hear(text) is None


DENIED = (
    "no gas smell",
    "no smell of gas",
    "no smoke",
    "no leak",
    "no headache",
    "no sparks",
    "no hissing",
    "no CO alarm",
)
BACK = (
    *(
        "except at start",
        "except when it runs",
        "until it starts",
        "unless it runs",
        "only when lit",
        "only by the cock",
    ),
    *("apart from the back", "other than at the plug", "yesterday, today yes", ", I can smell it", ", I don't agree"),
)


@pytest.mark.parametrize("denied", DENIED)
@pytest.mark.parametrize("back", BACK)
def test_a_denial_with_an_exception_is_none(denied: str, back: str) -> None:
    """Whatever is denied, however it is taken back; alone, or beside harmless words, it is a denial."""
    assert hear(f"{denied} {back}") is not None
    for plain in (denied, f"{denied}, only lukewarm", f"{denied}, no heat until it cools", f"{denied} but no heat"):
        assert hear(plain) is None, plain


@pytest.mark.parametrize(("first", "second"), list(product(("gas", "co", "ill", "fire"), repeat=2)))
def test_a_denial_does_not_reach_a_second_danger(first: str, second: str) -> None:
    """Of another kind, after "but", a comma or nothing at all."""
    said = {"gas": "gas smell", "co": "CO alarm sounding", "ill": "headache", "fire": "smoke from the drum"}
    if first != second:
        for between in (" but ", ", "):
            heard = hear(f"no {said[first]}{between}{said[second]}")
            assert heard is not None, between
            assert heard.hazard == second


def test_the_files_own_signs_are_told_apart() -> None:
    """Each sign of the shipped file is for one danger, and each danger has one."""
    signs = load("gas_dryer").stop
    assert {name: hazard_of(name, sign.title) for name, sign in signs.items()} == {
        "gas_smell": "gas",
        "co_alarm": "co",
        "co_symptoms": "ill",
        "fire_signs": "fire",
    }
    assert hazard_of("wet_floor", "water on the floor") is None


@pytest.mark.parametrize(
    ("level", "soap"),
    [
        ("level 1/2 bubble off front to back", "soaped 1/2 bubble off the union"),
        ("level shows half a bubble off", "with the level at the nut a bubble"),
        ("bubble is centered", "bubble in the middle of the union"),
        ("level, bubble off side to side", "level off and bubbles at the flare"),
    ],
)
def test_the_bubble_of_a_level_is_no_leak(level: str, soap: str) -> None:
    """But one at a joint is."""
    assert hear(level) is None
    assert hear(soap) is not None


@pytest.mark.parametrize(
    ("figure", "ill"),
    [
        ("got a headache from this customer", "got a headache from this dryer"),
        ("headache dealing with the landlord", "headache, landlord too"),
        ("this customer gives me a headache", "this customer gives me a headache when the dryer runs"),
        ("headache from the customer", "headache from the customers dryer"),
    ],
)
def test_a_headache_from_somebody_is_a_figure_of_speech(figure: str, ill: str) -> None:
    """Only when nothing follows."""
    assert hear(figure) is None
    assert hear(ill) is not None


def test_a_text_that_only_denies_danger() -> None:
    """A plain no of a danger; nothing else said, no doubt."""
    for text in (
        "no smell of gas",
        "cant smell gas",
        "no smoke, no sparks",
        "nobody sick",
        "no leaks",
        "don't smell gas",
    ):
        assert only_denies(text), text
    for text in (
        "no smell of gas but i feel sick",
        "no heat",
        "no smell of gas, igniter open",
        "gas smell",
        "no smoke until now",
    ):
        assert not only_denies(text), text
    assert not any(only_denies(p["text"]) for p in STOP)


def slips(word: str, rng: random.Random, count: int) -> list[str]:
    """A word with one or two letters, well apart, missing, doubled, wrong or swapped; the first letter stays."""
    made = set()
    while len(made) < count:
        letters = list(word)
        places = range(1, len(word) - 1)
        at = rng.choice(places)
        far = [n for n in places if abs(n - at) >= 3]
        for i in sorted([at, *rng.sample(far, rng.randint(0, min(1, len(far))))], reverse=True):
            change = rng.choice(("miss", "double", "wrong", "swap"))
            if change == "miss":
                del letters[i]
            elif change == "double":
                letters.insert(i, letters[i])
            elif change == "wrong":
                letters[i] = rng.choice("abcdefghijklmnopqrstuvwxyz")
            else:
                letters[i], letters[i + 1] = letters[i + 1], letters[i]
        made.add("".join(letters))
    return sorted(made - {word})


@pytest.mark.parametrize("word", ["headache", "nauseous", "vomiting", "smouldering"])
def test_a_long_word_of_danger_is_heard_with_two_letters_amiss(word: str) -> None:
    """However they are: typed with cold fingers, or as it sounds. Those that become another such word count as heard."""
    for typed in [
        *slips(word, random.Random(3), 300),
        *(["headake", "hedake", "headacke"] if word == "headache" else []),
    ]:
        heard = hear(f"she has {typed} since it runs")
        assert heard is not None, typed


@pytest.mark.parametrize(
    "typed",
    [
        *(
            "smel of gas",
            "gas smelll",
            "leakin gas",
            "hissin at the union",
            "smokin in there",
            "burnin smell",
            "feelin dizy",
        ),
        *("monoxyde in here", "monoxid in here", "sparkin inside", "it is meltin", "vomitin since noon"),
    ],
)
def test_danger_as_it_is_typed_in_haste(typed: str) -> None:
    """A doubled letter once, one too many, a g left out."""
    assert hear(typed) is not None


def calm_lines() -> list[str]:
    """Everything in the tests that tells of no danger."""
    lines = tomllib.loads((Path(__file__).parents[1] / "job" / "lines.toml").read_text("utf-8"))["line"]
    return [
        *(p["text"] for p in NO_STOP),
        *ATTACK["innocent"],
        *(t for f in FAMILIES for t in f["calm"]),
        *(x["text"] for x in lines if x["kind"] != "danger"),
    ]


def test_words_of_every_day_are_not_mended_into_danger() -> None:
    """No word of a calm line, nor one that is only a letter or two away, but for a g left out and words of danger themselves."""
    near = "searching searched scratching scratched sealing stalling meeting leaving leaning sticks charged charted spelling headed"
    words = {w for line in calm_lines() for w in re.findall(r"[a-z]+", line.casefold())} | set(near.split())
    mended = {w: _mended(w) for w in sorted(words) if _mended(w) != w and _mended(w) != f"{w}g"}
    assert mended == {w: m for w, m in mended.items() if w in MENDED_RIGHTLY}


MENDED_RIGHTLY = {"gsa", "headachy"}


UNDONE = (
    *(
        "leak test not done",
        "leak check was not done",
        "havent leak tested it",
        "no soap test done",
        "skipped the leak test",
    ),
    *(
        "tightness test still to be done",
        "panel not back on",
        "front panel isnt back on",
        "fuse wired across",
        "it was jumpered",
    ),
    *("limit wired around", "jumpered", "wire across the fuse", "forgot the bubble test"),
)


@pytest.mark.parametrize("text", UNDONE)
def test_work_left_undone_is_heard(text: str) -> None:
    """Alone, and behind what was found."""
    for line in (text, f"coils 1.3k, {text}", f"all good. {text}"):
        heard = hear(line)
        assert heard is not None and heard.hazard == "defeated", line


@pytest.mark.parametrize(
    "text",
    [
        *(
            "leak test done",
            "leak test passed, no bubbles",
            "no leak test needed",
            "panel back on",
            "front panel is on",
        ),
        *("crimped new terminal on that burnt lead", "hi limit wire is cooked brown n loose, cold now"),
        *("shimmed the feet, bubbles centered", "this routing job is givin me a headache lol"),
        *("nobody feelin sick or headachy", "removed the jumper from the fuse", "wired it as the diagram says"),
    ],
)
def test_neighbours_of_work_left_undone_are_passed_over(text: str) -> None:
    """Done, mended, cold, or a figure of speech."""
    assert hear(text) is None


@pytest.mark.parametrize(
    "text",
    [
        *("crimped new terminal on that burnt lead, smells hot", "hi limit wire is brown, hot now"),
        *("that burnt lead is smoking", "this routing job gives me a headache and the dryer too"),
        *("bubbles centered on the union", "leak test done, it leaks"),
    ],
)
def test_what_hides_behind_them_is_heard(text: str) -> None:
    """Harmless words do not cover a danger beside them."""
    assert hear(text) is not None


@pytest.mark.parametrize(
    "asking", ["ask {}", "ask about the {}?", "look {}", "how {}", "why {}", "card {}", "{}=yes", "{} = no"]
)
def test_what_is_named_is_not_told_of(asking: str) -> None:
    """A symptom or check by its name, with spaces or by its title, where a name is typed; the same words alone are a shout."""
    seen = load("gas_dryer").observables
    stop_first("gas_dryer", [asking.format(s) for n, o in seen.items() for s in (n, n.replace("_", " "), o.title)])
    for text in (
        "burning smell",
        "there is a burning smell",
        "look, a burning smell",
        "ask smoke",
        "how gas smell",
        "burning smell=smoke",
    ):
        with pytest.raises(SafetyStop):
            stop_first("gas_dryer", [text])
