"""The plan of a visit: packets against hand-computed values and the formulas, doses, store, what is due."""

from __future__ import annotations

import contextlib
import datetime
import json
from collections.abc import Mapping, Sequence
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo.practice import practice
from tests.test_check import day
from tests.test_log_agrees import messy
from workbook_tools.across.planning import BUFFER, NO_STORE, SPARE, VisitPlan, takes_in_words, visit_plan
from workbook_tools.across.responses import responses
from workbook_tools.across.store_stock import holding, product
from workbook_tools.across.suggested_doses import learned_starts, planned_baths
from workbook_tools.errors import FaultError, ReadError, WorkbookToolsError
from workbook_tools.functions.formulas import bath as formulas
from workbook_tools.functions.quantities.amounts import amount
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.gate import Despite

TRICAINE = "tricaine methanesulfonate"
TODAY = datetime.date(2026, 3, 1)
VISIT_DAY = day(2026, 3, 2)


KNOWN = [Despite("B001", "known to the practice")]


def planned(**changes: Any) -> dict[str, Any]:
    """A bath that is planned: 40 L, 80 mg/L, steps of 20 up to 120."""
    row = {"bath": "B001", "visit": "V001", "vessel": "T01", "use": "anaesthesia", "species": "perch",
           "agent": TRICAINE, "start_dose": 80, "step": 20, "limit": 120}  # fmt: skip
    return row | changes


def log(*baths: dict[str, Any], litres: float = 40, **tables: list[dict[str, Any]]) -> Computed:
    data: dict[str, list[dict[str, Any]]] = {
        "sites": [{"site": "S01", "name": "Alder springs", "kind": "farm", "food_fish": "yes"}],
        "vessels": [{"vessel": "T01", "site": "S01", "name": "tub", "shape": "known volume", "known": litres}],
        "visits": [{"visit": "V001", "date": VISIT_DAY, "site": "S01", "purpose": "routine check"}],
        "baths": list(baths or (planned(),)),
    }
    return Computed(case_log(), data | tables)


def plan(*baths: dict[str, Any], **options: Any) -> VisitPlan:
    return visit_plan(log(*baths), **{"today": TODAY, **options})


def plain(text: str) -> str:
    """Text with spaces that may break."""
    return text.replace("\N{NO-BREAK SPACE}", " ")


def masses(made: VisitPlan) -> list[tuple[str, str, float]]:
    return [(packet.name, packet.kind, packet.mass) for packet in made.packets]


# ----------------------------------------------------------------------------------------------------- packets


def test_every_packet_of_a_bath() -> None:
    """By hand: 40 L x 80 mg/L = 3.2 g, each rise of 20 mg/L = 0.8 g, buffer twice the weight; a spare of the first."""
    found = masses(plan())
    assert [(name, kind) for name, kind, _ in found] == [
        (name, kind) for name in ("Start", "Top-up 1", "Top-up 2", SPARE) for kind in ("drug", "buffer")
    ]
    assert [mass for _, _, mass in found] == pytest.approx([3.2, 6.4, 0.8, 1.6, 0.8, 1.6, 0.8, 1.6])
    drugs = [packet for packet in plan().packets if packet.kind == "drug"]
    assert [packet.dose for packet in drugs] == [80, 100, 120, 20]
    assert [packet.spare for packet in drugs] == [False, False, False, True]
    assert {(p.bath, p.vessel, p.litres) for p in drugs} == {("B001", "T01 tub", 40.0)}
    assert {p.substance for p in plan().packets} == {TRICAINE, BUFFER}
    said = [plain(packet.effect) for packet in plan().packets]
    assert said[:2] == ["brings the bath to 80 mg/L", "goes in with the drug of Start: 80 mg/L"]
    assert said[-2] == "raises the bath by 20 mg/L; never past 120 mg/L"


def test_totals_count_the_spare_apart() -> None:
    """By hand: 3.2 + 0.8 + 0.8 = 4.8 g and 0.8 g spare; buffer twice that. Two such baths, twice that."""
    assert [(t.substance, t.planned, t.spare, t.whole) for t in plan().totals] == [
        (TRICAINE, pytest.approx(4.8), pytest.approx(0.8), pytest.approx(5.6)),
        (BUFFER, pytest.approx(9.6), pytest.approx(1.6), pytest.approx(11.2)),
    ]
    two = plan(planned(), planned(bath="B002"))
    assert [t.whole for t in two.totals] == pytest.approx([11.2, 22.4])
    assert len(two.baths) == 2


def test_the_last_step_lands_on_the_limit() -> None:
    """By hand: 80 to 130 in steps of 20: 100, 120, then 10 mg/L more, 0.4 g."""
    found = [mass for _, kind, mass in masses(plan(planned(limit=130))) if kind == "drug"]
    assert found == pytest.approx([3.2, 0.8, 0.8, 0.4, 0.8])


def test_active_share_and_ratio() -> None:
    """By hand: 80 % active: 3.2 / 0.8 = 4 g; as much bicarbonate as drug."""
    found = masses(plan(planned(active=0.8, ratio=1)))
    assert [mass for _, _, mass in found[:4]] == pytest.approx([4, 4, 1, 1])


def test_a_bath_without_steps_has_no_spare_and_says_so() -> None:
    made = plan(planned(step=None, limit=None))
    assert [name for name, _, _ in masses(made)] == ["Start", "Start"]
    assert made.baths[0].notes == ("No top-ups and no spare: type Step and Limit on the Baths sheet.",)
    assert "the limit is not above the start dose" in plan(planned(limit=80)).baths[0].notes[0]
    treatment = planned(use="treatment", agent="chloramine-T, salmonids", start_dose=15, step=None, limit=None)
    (packet,) = plan(treatment).packets  # an agent without a buffer
    assert (packet.substance, packet.mass) == ("chloramine-T", pytest.approx(0.6))  # by hand: 40 L x 15 mg/L
    assert plan(treatment).baths[0].notes == ()


def test_water_used_and_fish_in_it_count() -> None:
    """By hand: 30 L less 0.5 kg of fish: 29.5 L x 80 mg/L = 2.36 g."""
    assert masses(plan(planned(used=30, fish_mass=0.5)))[0][2] == pytest.approx(2.36)


def test_small_packets_are_pointed_out() -> None:
    """By hand: 4 L x 80 mg/L = 0.32 g; half of 0.01 g is over 1 % of it."""
    (note,) = plan(planned(used=4)).baths[0].notes
    assert "Start drug" in note
    assert not plan(planned(used=40)).baths[0].notes


@settings(max_examples=150, deadline=None)
@given(
    litres=st.floats(1, 5000),
    start=st.floats(15, 300),
    step=st.floats(5, 60),
    more=st.floats(0.5, 200),
    active=st.floats(0.05, 1),
)
def test_packets_add_up_to_the_mass_at_the_limit(
    litres: float, start: float, step: float, more: float, active: float
) -> None:
    """All drug packets but the spare are BATH.MASS at the limit; each text on paper is within 1 % of its BATH.MASS."""
    limit = start + more
    computed = log(planned(start_dose=start, step=step, limit=limit, active=active), litres=litres)
    made = visit_plan(computed, today=TODAY)
    drugs = [packet for packet in made.packets if packet.kind == "drug"]
    own = [packet for packet in drugs if not packet.spare]
    assert sum(packet.mass for packet in own) == pytest.approx(formulas.mass(litres, limit, active), rel=1e-9)
    assert made.totals[0].planned == pytest.approx(formulas.mass(litres, limit, active), rel=1e-9)
    before = 0.0
    for packet in own:
        exact = formulas.mass(litres, packet.dose - before, active)
        assert float(amount(packet.mass)) == pytest.approx(exact, rel=0.01)
        before = packet.dose
    (spare,) = (packet for packet in drugs if packet.spare)
    assert float(amount(spare.mass)) == pytest.approx(formulas.mass(litres, spare.dose, active), rel=0.01)
    for drug, buffer in zip(made.packets[::2], made.packets[1::2], strict=True):
        assert buffer.mass == pytest.approx(formulas.buffer(drug.mass, 2), rel=1e-9)


# -------------------------------------------------------------------------------------------------- start doses


def test_a_typed_dose_is_never_replaced() -> None:
    made = plan(planned(), suggestions={("perch", TRICAINE): (60.0, "of 12 fish")}).baths[0]
    assert (made.dose, made.dose_from, made.dose_words) == (80, "typed", "typed on the Baths sheet")
    suggested = {("perch", TRICAINE): (60.0, "of 12 fish")}
    slip = plan(planned(start_dose="80 mg/L"), suggestions=suggested, overrides=KNOWN).baths[0]
    assert (slip.dose, slip.dose_from, slip.packets) == (None, "typed", ())
    assert "Start dose mg/L is not a number." in slip.notes[0]
    assert slip.notes[1:] == ("No packets: see the check.",)


def test_a_suggested_dose_is_said_to_be_one() -> None:
    """By hand: 40 L x 60 mg/L = 2.4 g, with the row's own step and limit: three rises of 20 to 120 mg/L."""
    made = plan(planned(start_dose=None), suggestions={("Perch", TRICAINE.upper()): (60.0, "12 fish of this log")})
    (bath,) = made.baths
    assert (bath.dose, bath.dose_from) == (60, "suggested")
    assert bath.dose_words == "suggested, not typed: 12 fish of this log"
    assert [mass for _, kind, mass in masses(made) if kind == "drug"] == pytest.approx([2.4, 0.8, 0.8, 0.8, 0.8])
    assert made.packets[0].effect.endswith("(suggested)")
    assert bath.notes == ()  # the check no longer misses a start dose
    outside = plan(planned(start_dose=None), suggestions={("perch", TRICAINE): (400.0, "x")}).baths[0]
    assert plain(outside.dose_words).endswith("Outside the reference range of 15 to 330 mg/L.")


def test_the_reference_stands_in_where_nothing_is_suggested() -> None:
    """15 mg/L is the low end on the Reference sheet (21 CFR 529.2503, from memory): 40 L x 15 mg/L = 0.6 g."""
    made = plan(planned(start_dose=None), suggestions={("carp", TRICAINE): (60.0, "x")})
    (bath,) = made.baths
    assert (bath.dose, bath.dose_from) == (15, "reference")
    assert plain(bath.dose_words).startswith("reference, not typed: low end of the range of 15 to 330 mg/L (")
    assert masses(made)[0][2] == pytest.approx(0.6)
    assert made.packets[0].effect.endswith("(reference)")


def test_an_edited_reference_counts() -> None:
    agents = [dict(row) for row in log().data["agents"]]
    agents[0] |= {"low": 50, "source": None}
    made = visit_plan(log(planned(start_dose=None), agents=agents), today=TODAY)
    assert made.baths[0].dose == 50
    assert plain(made.baths[0].dose_words) == "reference, not typed: low end of the range of 50 to 330 mg/L"


def test_without_any_dose_nothing_is_weighed() -> None:
    made = plan(planned(start_dose=None, agent="own mixture"), overrides=KNOWN)
    (bath,) = made.baths
    assert (bath.dose, bath.dose_from, bath.packets, made.totals) == (None, "", (), ())
    assert bath.notes[-1] == "No start dose is typed, suggested or in the reference range: nothing to weigh yet."
    assert made.store_words == ()


def test_a_vessel_without_volume_gives_no_packets() -> None:
    (bath,) = plan(planned(vessel="T99"), overrides=KNOWN).baths
    assert (bath.packets, bath.litres) == ((), None)
    assert bath.notes[-1] == "No packets: see the check."


# --------------------------------------------------------------------------------------------------- which visit


def visits(*names: str) -> list[dict[str, Any]]:
    return [{"visit": name, "date": VISIT_DAY + number, "site": "S01"} for number, name in enumerate(names)]


def test_the_last_visit_with_something_to_weigh() -> None:
    rows = [planned(), planned(bath="B002", visit="V002"), planned(bath="B003", visit="V003", drug_weighed=3.2)]
    computed = log(*rows, visits=visits("V001", "V002", "V003"))
    assert visit_plan(computed, today=TODAY).visit == "V002"
    assert visit_plan(computed, "v001 ", today=TODAY).visit == "V001"
    third = visit_plan(computed, "V003", today=TODAY)
    assert third.baths == ()
    assert third.notes[0] == "No bath of this visit is planned and not yet weighed."
    assert third.notes[1] == "Weighed or made already, and not in this plan: B003."


def test_baths_begun_or_weighed_are_not_planned_again() -> None:
    made = plan(planned(), planned(bath="B002", started=0.4), planned(bath="B003", drug_weighed=0))
    assert [bath.bath for bath in made.baths] == ["B001"]
    assert made.notes == ("Weighed or made already, and not in this plan: B002, B003.",)


def test_baths_of_one_name_are_pointed_out_and_each_has_its_own_packets() -> None:
    """By hand: 40 L x 80 mg/L = 3.2 g and 40 L x 60 mg/L = 2.4 g."""
    made = plan(planned(), planned(start_dose=60), overrides=KNOWN)
    assert made.notes == ("More than one bath is called B001: their labels cannot be told apart.",)
    assert [bath.packets[0].mass for bath in made.baths] == pytest.approx([3.2, 2.4])


def test_a_visit_that_is_not_there_is_refused() -> None:
    with pytest.raises(ReadError, match=r"farm\.xlsx: has no visit 'V9'"):
        plan(visit="V9", path="farm.xlsx")
    with pytest.raises(ReadError, match="no visit with a bath that is planned"):
        plan(planned(drug_weighed=3.2))


def test_names_typed_as_numbers_are_found() -> None:
    computed = log(planned(visit=12.0, bath=7.0), visits=[{"visit": 12.0, "date": VISIT_DAY, "site": "S01"}])
    made = visit_plan(computed, "12", today=TODAY)
    assert (made.visit, made.baths[0].bath, made.packets[0].bath) == ("12", "7", "7")
    assert (
        plan(planned(bath=None), overrides=[Despite("Baths row 6", "has no name yet")]).baths[0].bath
        == "(bath without a name)"
    )


# -------------------------------------------------------------------------------------------------------- store


def lot(name: object, balance: object, expiry: object = None, agent: str = TRICAINE) -> dict[str, Any]:
    return {"lot": name, "agent": agent, "received": 100, "used": 1, "balance": balance, "expiry": expiry}


def test_without_a_store_it_says_so() -> None:
    assert plan().store_words == (NO_STORE,)
    assert plan(stores=[]).store_words[0] == f"{TRICAINE}: no lot in the store."


def test_lots_near_expiry_go_first_and_expired_ones_never() -> None:
    """By hand: 5.6 g of tricaine; 2 g expire first, then 3.6 of the next. The lot of yesterday is left alone."""
    stores = [
        lot("late", 100, VISIT_DAY + 400), lot("soon", 2, VISIT_DAY + 5), lot("old", 50, VISIT_DAY - 1),
        lot("open", 50), lot("empty", 0, VISIT_DAY + 1), lot("buffer", 11.2, VISIT_DAY, BUFFER.upper()),
    ]  # fmt: skip
    made = plan(stores=stores)
    tricaine, buffer = made.totals
    assert [(take.lot, take.grams) for take in tricaine.takes] == [("soon", 2), ("late", pytest.approx(3.6))]
    assert [(take.lot, take.grams) for take in buffer.takes] == [("buffer", pytest.approx(11.2))]  # on its last day
    assert (tricaine.shortage, buffer.shortage) == (0, 0)
    assert made.store_words == (
        f"{TRICAINE}: lot old expired on 2026-03-01: do not use it.",
        f"{TRICAINE}: lot open has no expiry date in the store: look at the pack.",
    )
    said = plain(takes_in_words(tricaine))
    assert said == "lot soon: 2.00 g (expires 2026-03-07); lot late: 3.60 g (expires 2027-04-06)"


def test_a_lot_must_last_until_the_visit_and_until_today() -> None:
    assert plan(stores=[lot("a", 50, VISIT_DAY - 1)]).totals[0].takes == ()
    after = plan(stores=[lot("a", 50, VISIT_DAY + 3)], today=datetime.date(2026, 3, 20))
    assert after.totals[0].takes == ()
    assert len(plan(stores=[lot("a", 50, VISIT_DAY)]).totals[0].takes) == 1


def test_a_shortage_is_said_in_words() -> None:
    """By hand: 5.6 g needed, 5 g there: 0.6 g short."""
    made = plan(stores=[lot("a", 5, VISIT_DAY + 9), lot("b", 100, VISIT_DAY + 9, BUFFER)])
    assert made.totals[0].shortage == pytest.approx(0.6)
    (words,) = made.store_words
    assert plain(words) == (f"{TRICAINE}: 0.600 g short. Needed 5.60 g, the store holds 5.00 g that may be used.")


@pytest.mark.parametrize("balance", [None, "50 g", True])
def test_a_balance_that_cannot_be_read_is_not_counted(balance: object) -> None:
    made = plan(stores=[lot("a", balance, VISIT_DAY + 9)])
    assert made.totals[0].shortage == pytest.approx(5.6)
    assert "has no balance that can be read" in made.store_words[0]


def test_an_expiry_that_cannot_be_read_is_not_counted() -> None:
    made = plan(stores=[lot(417.0, 50, "March 2027")])
    assert made.totals[0].takes == ()
    assert made.store_words[0] == f"{TRICAINE}: lot 417 has an expiry that is no date: not counted."


def test_ranges_of_one_product_draw_on_the_same_lots() -> None:
    assert product("chloramine-T, salmonids") == product("chloramine-T, warm water finfish") == "chloramine-T"
    held = holding("chloramine-T", 3, [lot("c", 4, VISIT_DAY, "Chloramine-T, salmonids")], VISIT_DAY)
    assert (held.takes[0].grams, held.shortage, held.words) == (3, 0, ())


def test_different_active_shares_are_pointed_out() -> None:
    made = plan(planned(), planned(bath="B002", active=0.5), stores=[])
    assert "different active share" in made.store_words[0]


LOT = st.builds(lot, st.sampled_from("abc"), st.floats(-5, 50), st.one_of(st.none(), st.floats(46000, 46200)))


@given(st.lists(LOT, max_size=8), st.floats(0.01, 100))
def test_what_is_taken_and_what_is_short_is_what_is_needed(stores: Sequence[Mapping[str, Any]], needed: float) -> None:
    held = holding(TRICAINE, needed, stores, 46100.0)
    assert sum(take.grams for take in held.takes) + held.shortage == pytest.approx(needed)
    assert all(take.grams <= take.balance and (take.expiry is None or take.expiry >= 46100) for take in held.takes)
    days = [float("inf") if take.expiry is None else take.expiry for take in held.takes]
    assert days == sorted(days)


# -------------------------------------------------------------------------------------------------- what is due


def test_open_follow_ups_of_the_site_that_are_due() -> None:
    computed = log()
    computed.data["follow_ups"] = [
        {"due": VISIT_DAY + 1, "site": "S01", "what": "later", "done": None},
        {"due": VISIT_DAY, "site": "s01", "what": "on the day", "done": "no"},
        {"due": VISIT_DAY - 9, "site": "S01", "what": "earlier", "done": None},
        {"due": VISIT_DAY - 9, "site": "S01", "what": "done", "done": "yes"},
        {"due": VISIT_DAY - 9, "site": "S02", "what": "elsewhere", "done": None},
        {"due": "soon", "site": "S01", "what": "no date", "done": None},
    ]
    known = [Despite(f"Follow-ups row {number}", "known to the practice") for number in range(6, 12)]
    found = visit_plan(computed, today=TODAY, overrides=known).follow_ups
    assert [(one.due, one.what) for one in found] == [
        ("2026-02-21", "earlier"), ("2026-03-02", "on the day"), ("soon", "no date"),
    ]  # fmt: skip
    assert plan().follow_ups == ()  # a log without such a table


def test_the_plan_as_plain_data() -> None:
    found = json.loads(json.dumps(plan(stores=[lot("a", 50, VISIT_DAY)]).as_dict()))
    assert (found["visit"], found["date"], found["site_name"]) == ("V001", "2026-03-02", "Alder springs")
    assert found["baths"][0]["packets"][0]["mass"] == pytest.approx(3.2)
    take = found["totals"][0]["takes"][0]
    assert take == {"lot": "a", "grams": pytest.approx(5.6), "balance g": 50, "expiry": "2026-03-02"}
    assert any("label in force" in caution for caution in found["cautions"])
    assert len(found["checklist"]) > 8


def test_planning_changes_nothing_in_the_log() -> None:
    computed = log(planned(start_dose=None))
    before = json.dumps(computed.data, default=str, sort_keys=True)
    visit_plan(computed, suggestions={("perch", TRICAINE): (60.0, "x")}, today=TODAY)
    assert json.dumps(computed.data, default=str, sort_keys=True) == before


def whatever_is_known(computed: Computed, visit: str) -> VisitPlan:
    """The plan of a visit, with every fault in its way overridden."""
    try:
        return visit_plan(computed, visit, today=TODAY)
    except FaultError as error:
        known = [Despite(one.name, "known to the practice") for one in error.obstacles]
        return visit_plan(computed, visit, today=TODAY, overrides=known)


def test_whatever_is_typed_gives_a_plan_or_a_sentence() -> None:
    """Anything but a refusal of our own, or a packet without a mass, fails."""
    made = 0
    for key in ("baths", "vessels", "visits", "sites"):
        data = messy(key)
        for row in data["baths"]:
            row |= {"drug_weighed": None, "started": None}
        computed = Computed(case_log(), data)
        for row in computed.data["visits"][:40]:
            with contextlib.suppress(WorkbookToolsError):
                found = whatever_is_known(computed, str(row["visit"]))
                made += 1
                json.dumps(found.as_dict())
                assert all(packet.mass > 0 for packet in found.packets)
    assert made > 40


def test_a_blank_start_dose_takes_what_the_log_suggests() -> None:
    """The demo's year suggests 100 mg/L for tilapia at 25 to under 30 C, and nothing for trout in colder water."""
    data = practice()
    last = data["baths"][-1]
    plain = {"bath": "B900", "visit": last["visit"], "vessel": "T17", "use": "anaesthesia"}
    tilapia = plain | {"species": "Tilapia", "agent": last["agent"], "temperature": 27}
    trout = plain | {"bath": "B901", "species": "rainbow trout", "agent": last["agent"], "temperature": 7}
    data["baths"] += [tilapia, trout]
    computed = Computed(case_log(), data)
    starts = learned_starts(responses(computed), planned_baths(computed, last["visit"]))
    assert {key: dose for key, (dose, _) in starts.items()} == {("Tilapia", last["agent"]): 100}
    made = visit_plan(computed, last["visit"], starts, today=datetime.date(2026, 11, 25))
    by_name = {bath.bath: bath for bath in made.baths}
    assert by_name["B900"].dose == 100
    assert by_name["B900"].dose_words.startswith("suggested, not typed: 100 mg/L, the lowest dose tried that worked")
    assert "reference, not typed" in by_name["B901"].dose_words


def test_without_a_temperature_the_lowest_suggestion_is_taken() -> None:
    data = practice()
    last = data["baths"][-1]
    bath = {"bath": "B900", "visit": last["visit"], "species": "rainbow trout", "agent": last["agent"]}
    data["baths"].append(bath)
    computed = Computed(case_log(), data)
    learned = responses(computed)
    lowest = min(
        one.suggestion.dose for one in learned.only("rainbow trout").lessons if one.suggestion.dose is not None
    )
    ((dose, words),) = learned_starts(learned, planned_baths(computed, last["visit"])).values()
    assert dose == lowest
    assert "the temperature of the bath is not known" in words
