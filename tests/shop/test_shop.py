"""A shop file: what it changes, what it leaves alone, and what it may not say."""

from __future__ import annotations

import dataclasses
import re
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, strategies as st

from faultodds.advice import advise
from faultodds.belief import infer
from faultodds.belief.appliance import Appliance, compiled, open_appliance
from faultodds.errors import FaultoddsError, ShopError
from faultodds.files import SHOP_VARIABLE
from faultodds.job import Job, situation_of
from faultodds.shop import choose as shop, shop_file
from faultodds.shop.choose import priced
from faultodds.shop.laid_over import lay_over
from faultodds.shop.parsed import _read, cached
from faultodds.shop.records import Shop, Technician, Van
from job_states import random_job_states
from toys import toy

DRYER = "gas_dryer"


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped dryer at the file's own prices."""
    return open_appliance(DRYER, revision="file")


@pytest.fixture
def written(tmp_path: Path) -> Path:
    """Where a test's shop file goes."""
    return tmp_path / "our.toml"


def test_each_number_lands_where_it_belongs(dryer: Appliance, written: Path) -> None:
    """Costs, parts, minutes and access are the shop's where it says so, the file's elsewhere; the odds are the same object."""
    written.write_text(
        '[shop]\nname = "Harbour Lane Appliance Service"\n[costs]\nlabour_rate = 80\ntravel = 15\n[parts]\ncoil_set = 41.5\n'
        "[minutes]\nhood_flap = 6\ncoil_set = 33\n[access]\nfront_open = { open = 12 }\n"
    )
    k, now = dryer.knowledge, priced(dryer, str(written))
    laid = now.knowledge
    assert (laid.costs.labour_rate, laid.costs.travel) == (80, 15)
    assert (laid.costs.callback, laid.costs.refer) == (k.costs.callback, k.costs.refer)
    assert (laid.repair["coil_set"].cost, laid.repair["coil_set"].minutes) == (41.5, 33)
    assert laid.check["hood_flap"].minutes == 6
    assert laid.access["front_open"].open_minutes == 12
    assert laid.access["front_open"].close_minutes == k.access["front_open"].close_minutes
    assert laid.repair["igniter"] == k.repair["igniter"]
    assert now.suspects is dryer.suspects
    assert (laid.component, laid.symptom, laid.context) == (k.component, k.symptom, k.context)
    assert now.shop is not None and now.shop.name == "Harbour Lane Appliance Service"
    assert dryer.knowledge.costs.labour_rate == 95  # the file itself is not touched


@given(st.floats(0.2, 5.0))
def test_pace_is_on_all_minutes_but_the_run(pace: float) -> None:
    """A slow technician takes longer at everything except what the machine takes; minutes of their own stand."""
    appliance = compiled(toy())
    who = Technician(pace=pace, minutes={"listen": 7.0})
    ours = Shop(technician={"T1": who}, minutes={"new_belt": 50.0})
    k, laid = appliance.knowledge, lay_over(appliance, ours, Path("s.toml"), "T1").knowledge
    assert laid.check["run_test"].minutes == k.check["run_test"].minutes
    assert laid.check["listen"].minutes == 7.0
    assert laid.check["fuse_test"].minutes == pytest.approx(pace * k.check["fuse_test"].minutes)
    assert laid.repair["new_belt"].minutes == pytest.approx(pace * 50.0)
    assert laid.access["panel"].close_minutes == pytest.approx(pace * k.access["panel"].close_minutes)
    assert laid.repair["new_belt"].cost == k.repair["new_belt"].cost


def test_what_is_not_carried_is_not_advised(dryer: Appliance) -> None:
    """For any list of tools, on any job: nothing advised needs another one; a full list changes nothing; a technician's own list
    goes before the van's."""
    rng = np.random.default_rng(5)
    tools = dryer.knowledge.tools()
    for state in random_job_states(dryer, 25, seed=3):
        carried = [t for t in tools if rng.random() < 0.5]
        shop = Shop(van=Van(tools=tools), technician={"T1": Technician(tools=carried)})
        belief = infer(dryer.suspects, state.evidence)
        job = Job("1", DRYER, "file", datetime.now(UTC))
        every = advise(dryer, belief, situation_of(dryer, job))
        van, own = (lay_over(dryer, shop, Path("s.toml"), who) for who in ("", "T1"))
        assert advise(van, belief, situation_of(van, job)) == every
        advice = advise(own, belief, situation_of(own, job))
        named = {c.name for c in advice.checks} | {n for r in advice.repairs for n in (r.name, *r.together)}
        work = {**own.knowledge.check, **own.knowledge.repair}
        assert all(set(work[n].tools) <= set(carried) for n in {*named, *advice.work})
        assert own.shop is not None
        assert set(own.shop.lacking) == set(tools) - set(carried)


def test_whatever_is_read_with_a_meter_needs_one(dryer: Appliance) -> None:
    """A check read in ohms or volts, or whose steps measure across something, is gone with the multimeter."""
    k = dryer.knowledge
    for name, check in k.check.items():
        electric = name in k.reading and k.reading[name].kind in (
            "resistance",
            "continuity",
            "voltage",
            "thermistor",
            "windings",
        )
        measures = any("easure across" in step or "meter on" in step for step in check.steps)
        if electric or measures:
            assert "multimeter" in check.tools, name


def test_a_technician_has_a_rate_and_a_standing(dryer: Appliance, written: Path) -> None:
    """A technician's own labour rate goes before the shop's; not being qualified is told along with it."""
    written.write_text(
        "[costs]\nlabour_rate = 90\n[technician.T1]\nlabour_rate = 55\nqualified = false\n[technician.T2]\n"
    )
    first, second, nobody = (priced(dryer, str(written), who) for who in ("T1", "t2", "none"))
    assert [a.knowledge.costs.labour_rate for a in (first, second, nobody)] == [55, 90, 90]
    assert [a.shop.qualified for a in (first, second, nobody) if a.shop] == [False, True, True]
    assert [a.shop.technician for a in (first, second, nobody) if a.shop] == ["T1", "T2", ""]


def test_another_currency_changes_every_amount(dryer: Appliance, written: Path) -> None:
    """With an exchange rate, what the shop does not price is the file's amount in the shop's currency."""
    written.write_text('[shop]\ncurrency = "GBP"\nexchange = 0.8\n[parts]\nigniter = 30\n')
    k, laid = dryer.knowledge, priced(dryer, str(written)).knowledge
    assert laid.costs.currency == "GBP"
    assert laid.costs.labour_rate == pytest.approx(0.8 * k.costs.labour_rate)
    assert laid.repair["board"].cost == pytest.approx(0.8 * k.repair["board"].cost)
    assert laid.repair["igniter"].cost == 30


def test_the_template_with_every_line_made_ours_changes_nothing(dryer: Appliance, written: Path) -> None:
    """Every commented number of a new file is the appliance's own, in a form that can be read."""
    k = dryer.knowledge
    text = shop_file.template(k)
    commented = priced_text(dryer, written, text)
    assert commented.knowledge == k
    ours = re.sub(r"^# (?=[a-z_]+ = |\[technician)", "", text, flags=re.MULTILINE)
    ours = ours.partition("[technician")[0].replace("exchange = 1.0 ", "exchange = 1 ")
    found = cached(_put(written, ours))
    assert set(found.parts) == set(k.repair)
    assert set(found.minutes) == {*k.check, *k.repair}
    assert set(found.access) == set(k.access)
    assert priced(dryer, str(written)).knowledge == k
    people = "[technician" + re.sub(r"^# ", "", text.partition("# [technician")[2], flags=re.MULTILINE)
    assert cached(_put(written, people)).technician["T1"].pace == 1.2


def priced_text(dryer: Appliance, path: Path, text: str) -> Appliance:
    """The dryer with this shop file."""
    return priced(dryer, str(_put(path, text)))


def _put(path: Path, text: str) -> Path:
    path.write_text(text)
    return path


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[parts]\ncoilset = 3", "our.toml: parts: there is no repair called 'coilset'. Did you mean 'coil_set'?"),
        ("[minutes]\nhoodflap = 3", "minutes: there is no check or repair called 'hoodflap'. Did you mean 'hood_flap'?"),
        ("[access]\nfront = { open = 2 }", "access: there is no access item called 'front'. Did you mean 'front_open'?"),
        ("[technician.T1.minutes]\ncoil_ohm = 2", "technician.T1.minutes: there is no check or repair called 'coil_ohm'."),
        ("[costs]\nlabour_rat = 3", "costs.labour_rat: this key is not known. Did you mean 'labour_rate'? Allowed"),
        ("[cost]\nlabour_rate = 3", "cost: this key is not known. Did you mean 'costs'?"),
        ("[technician.T1]\npase = 2", "technician.T1.pase: this key is not known. Did you mean 'pace'?"),
        ('[minutes]\ncoil_ohms = "4"', "minutes.coil_ohms: found '4'; write a number, without quotes."),
        ("[minutes]\ncoil_ohms = true", "minutes.coil_ohms: found true; write a number, without quotes."),
        ('[van]\ntools = ["multimetre"]', "van.tools: there is no tool called 'multimetre'. Did you mean 'multimeter'?"),
        ('[van]\ntools = "multimeter"', "van.tools: found 'multimeter'; write a list, such as [ ... ]."),
        ('[technician.T1]\ntools = ["hat"]', "technician.T1.tools: there is no tool called 'hat'."),
        ("[technician.T1]\nqualified = 1", "technician.T1.qualified: found 1; write true or false."),
        ("[shop]\nname = 3", "shop.name: found 3; write text in quotes."),
        ("[access]\nfront_open = 3", "access.front_open: found 3; write a table, such as { name = ... }."),
        ("[minutes]\ncoil_ohms = -2", "our.toml: minutes.coil_ohms: found -2; minutes are from 0 to 480."),
        ("[minutes]\ncoil_ohms = 4000", "minutes.coil_ohms: found 4000; minutes are from 0 to 480."),
        ("[parts]\ncoil_set = -34", "parts.coil_set: found -34; amounts are in USD, from 0 to 20000."),
        ("[costs]\nlabour_rate = nan", "costs.labour_rate: found nan; an hour's labour is in USD, from 0 to 1000."),
        ("[costs]\nrefer = inf", "costs.refer: found inf; amounts are in USD, from 0 to 20000."),
        ("[technician.T1]\npace = 20", "technician.T1.pace: found 20; a pace is from 0.2 to 5."),
        ("[technician.T1]\nlabour_rate = -1", "technician.T1.labour_rate: found -1; an hour's labour is in USD"),
        ("[van]\ncarrying = 2", "van.carrying: found 2; it is a share of a part's price for each call, from 0 to 1."),
        ('[shop]\ncurrency = "pounds"', "shop.currency: found 'pounds'; write three letters, such as USD, GBP or EUR."),
        ('[shop]\ncurrency = "GBP"', "it is GBP, but 33 amounts are still the knowledge file's, in USD: costs.labour_rate"),
        ("[shop]\nexchange = 2", "shop.exchange: found 2; prices are in USD already; leave it out."),
        ('[shop]\ncurrency = "GBP"\nexchange = 0', "shop.exchange: found 0; it is what 1 USD is in your currency, above 0."),
        ("[shop", "our.toml: is not valid TOML:"),
    ],
)  # fmt: skip
def test_a_slip_is_named_with_its_key(dryer: Appliance, written: Path, text: str, words: str) -> None:
    """A wrong name, kind or size of number is refused with the file, the key and what is allowed."""
    with pytest.raises(FaultoddsError) as refused:
        priced_text(dryer, written, text)
    assert words in str(refused.value)


FORM = {
    '[parts]\nigniter = "x"\n': "parts.igniter: found 'x'; write a number",
    "[minutes]\ncoil_ohms = true\n": "minutes.coil_ohms: found true; write a number",
    "[technician.T1]\npase = 2\n": "technician.T1.pase: this key is not known",
    "[technician]\nT2 = 3\n": "technician.T2: found 3; write a table",
    "[access]\nfront_open = { open = [], close = 2 }\n": "access.front_open.open: found []; write a number",
    '[van]\ntools = ["level", 3]\n': "van.tools.1: found 3; write text in quotes",
    "[technician.T3]\ntools = [4, 5]\n": "technician.T3.tools.0: found 4; write text in quotes",
    "[costs]\nrefer = 1\nlabor = 3\n": "costs.labor: this key is not known",
}
SENSE = {
    "[minutes]\nhood_flip = 3\n": "minutes: there is no check or repair called 'hood_flip'",
    '[technician.T9]\ntools = ["hat", "hat"]\n': "technician.T9.tools: there is no tool called 'hat'",
    "[technician.T9]\npace = 9\n": "technician.T9.pace: found 9",
    "[parts]\ncoil_set = -1\n": "parts.coil_set: found -1",
    "[costs]\ntravel = inf\n": "costs.travel: found inf",
}


def told_of(dryer: Appliance, path: Path, *texts: str) -> tuple[str, ...]:
    """All that is wrong with a file of these tables, which may say something in the same one."""
    tables: dict[str, list[str]] = {}
    for text in texts:
        head, _, lines = text.partition("\n")
        tables.setdefault(head, []).append(lines)
    with pytest.raises(ShopError) as refused:
        priced_text(dryer, path, "".join(f"{head}\n{''.join(lines)}" for head, lines in tables.items()))
    return refused.value.problems


@pytest.mark.parametrize("form", FORM)
@pytest.mark.parametrize("sense", SENSE)
def test_form_and_sense_are_told_together(dryer: Appliance, written: Path, form: str, sense: str) -> None:
    """One mistake of each: both are told, nothing else, once each, whichever table they are in."""
    found = told_of(dryer, written, form, sense)
    assert [sum(each.startswith(words) for each in found) for words in (FORM[form], SENSE[sense])] == [1, 1]
    assert len(found) == 2 + ("T3" in form)


def test_every_mistake_of_a_file_is_told_at_once(dryer: Appliance, written: Path) -> None:
    """All of them in one file: a line for each, and no other."""
    found = told_of(dryer, written, *FORM, *SENSE)
    assert len(found) == len(FORM) + len(SENSE) + 1
    assert all(any(each.startswith(words) for each in found) for words in (FORM | SENSE).values())


@pytest.mark.parametrize(
    "head", ["currency = 3\n", "exchange = true\n", 'curency = "GBP"\n', 'currency = "GBP"\nname = 3\n']
)
def test_where_the_currency_is_in_doubt_no_amount_is_doubted_for_it(dryer: Appliance, written: Path, head: str) -> None:
    """What is wrong with `[shop]` is told alone: the amounts may be right in what was meant."""
    (told,) = told_of(dryer, written, f"[shop]\n{head}", "[costs]\nlabour_rate = 9000\n")
    assert told.startswith("shop.")


@pytest.mark.parametrize("text", ['[costs]\nrefer = "x"\n', "[costs]\nrefr = 1\n", '[parts]\nigniter = "x"\n'])
def test_an_amount_in_the_wrong_form_is_not_called_missing_as_well(dryer: Appliance, written: Path, text: str) -> None:
    """In another currency each amount has to be there; one that only has to be mended is told once."""
    k = dryer.knowledge
    costs = [
        f"{n} = 1\n"
        for n in ("labour_rate", "travel", "callback", "refer")
        if f"{n} " not in text and n[:4] not in text
    ]
    parts = [f"{n} = 1\n" for n in k.repair if f"{n} " not in text]
    ours = ('[shop]\ncurrency = "GBP"\n', "[costs]\n" + "".join(costs), "[parts]\n" + "".join(parts))
    assert len(told_of(dryer, written, *ours, text)) == 1


def test_which_file_is_used(dryer: Appliance, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The one that is named, else the environment's, else shop.toml in the data folder, else none; "none" is none."""
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path))
    assert priced(dryer) is dryer
    for name, rate in (("shop.toml", 10), ("env.toml", 20), ("option.toml", 30)):
        (tmp_path / name).write_text(f"[costs]\nlabour_rate = {rate}\n")
    assert priced(dryer).knowledge.costs.labour_rate == 10
    monkeypatch.setenv(SHOP_VARIABLE, str(tmp_path / "env.toml"))
    assert priced(dryer).knowledge.costs.labour_rate == 20
    assert priced(dryer, str(tmp_path / "option.toml")).knowledge.costs.labour_rate == 30
    assert priced(dryer, "none") is dryer
    monkeypatch.setenv(SHOP_VARIABLE, "none")
    assert priced(dryer) is dryer


def test_a_file_or_technician_that_is_not_there(
    dryer: Appliance, tmp_path: Path, written: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is named and missing is refused, never passed over; the message says what to type."""
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path))
    with pytest.raises(
        ShopError, match=r"there is no shop file at 'nowhere\.toml'\. Type 'faultodds shop new nowhere.toml'"
    ):
        priced(dryer, "nowhere.toml")
    monkeypatch.setenv(shop.TECHNICIAN_VARIABLE, "T1")
    with pytest.raises(ShopError, match="technician 'T1': there is no shop file to look them up in"):
        priced(dryer)
    written.write_text("[technician.T2]\n")
    with pytest.raises(FaultoddsError, match=r"there is no technician called 'T1'\. Did you mean 'T2'"):
        priced(dryer, str(written))
    assert priced(dryer, str(written), "none").shop is not None


def test_a_file_read_before_needs_no_validation_library(dryer: Appliance, written: Path) -> None:
    """The second reading of a shop file comes from the cache: pydantic and tomllib stay out of it."""
    priced_text(dryer, written, "[costs]\nlabour_rate = 77\n")
    code = (
        "import sys; from faultodds.shop.parsed import cached; from pathlib import Path; "
        f"print(cached(Path({str(written)!r})).costs.labour_rate, 'pydantic' in sys.modules, 'tomllib' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=True)
    assert done.stdout.split() == ["77.0", "False", "False"]


def test_a_changed_file_and_a_damaged_cache_are_read_anew(
    written: Path, cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An edit counts at once, and rubbish in the cache costs only time."""
    monkeypatch.setenv("FAULTODDS_CACHE", str(cache))
    assert cached(_put(written, "[costs]\ntravel = 1\n")).costs.travel == 1
    assert cached(_put(written, "[costs]\ntravel = 2\n")).costs.travel == 2
    for entry in cache.glob("shop-*"):
        entry.write_bytes(b"rubbish")
    assert cached(written).costs.travel == 2


def test_not_one_damaged_bit_of_the_cache_is_believed(
    written: Path, cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every bit of an entry turned over, every cut, and the entry of another file: the file is read anew each time."""
    monkeypatch.setenv("FAULTODDS_CACHE", str(cache))
    right = cached(_put(written, "[costs]\nlabour_rate = 95\ntravel = 2\n"))
    (entry,) = cache.iterdir()
    data = entry.read_bytes()
    for at in range(len(data)):
        for bit in range(8):
            assert _read(_spoilt(entry, data[:at] + bytes([data[at] ^ (1 << bit)]) + data[at + 1 :])) is None
        assert _read(_spoilt(entry, data[:at])) is None
        assert _read(_spoilt(entry, data + data[at : at + 1])) is None
    assert cached(written) == right
    assert _read(entry) is not None
    assert entry.read_bytes() == data


def _spoilt(entry: Path, data: bytes) -> Path:
    entry.write_bytes(data)
    return entry


def test_a_new_file_never_overwrites(dryer: Appliance, written: Path) -> None:
    """A shop file that is there already is left as it is."""
    written.write_text("[costs]\n")
    with pytest.raises(ShopError, match="is there already and was left as it is"):
        shop_file.write_template(dryer.knowledge, written)
    assert written.read_text() == "[costs]\n"


def test_decisions_do_not_turn_on_the_unit_of_money(dryer: Appliance, written: Path) -> None:
    """The same prices in another currency give the same advice at the exchanged cost."""
    from faultodds.advice.advisor import advise
    from faultodds.belief.evidence import Evidence, WeighedFinding
    from faultodds.belief.posterior import infer

    belief = infer(dryer.suspects, Evidence(seen=(WeighedFinding("heat", {"none": 1.0}),)))
    theirs = advise(dryer, belief)
    ours = advise(priced_text(dryer, written, '[shop]\ncurrency = "GBP"\nexchange = 0.5\n'), belief)
    assert (ours.kind, ours.name) == (theirs.kind, theirs.name)
    assert ours.expected_cost == pytest.approx(0.5 * theirs.expected_cost, rel=1e-6)


def test_lines_tell_whose_number_it_is(dryer: Appliance, written: Path) -> None:
    """`shop show` marks what the shop or the technician states, and what pace has changed."""
    found = cached(_put(written, "[parts]\nigniter = 36\n[technician.T1]\npace = 2\n"))
    own = {(r.group, r.name) for r in shop_file.lines(dryer, found, written) if r.own}
    assert own == {("parts", "igniter")}
    slow = shop_file.lines(dryer, found, written, "T1")
    verify = dryer.knowledge.costs.verify
    assert {r.name for r in slow if r.group == "minutes" and not r.own} == {verify}
    assert dataclasses.asdict(next(r for r in slow if r.name == "hood_flap"))["value"] == 6
