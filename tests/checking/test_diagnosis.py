"""A whole job explained: sections, origins, cautions, on an invented board."""

import time
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from tests.checking.sheets import AFTER, at_board, breaker, cable, circuit, rcd, reading, sheet
from voicelog.checking.diagnosis import as_text, explain, runs
from voicelog.checking.previous import parse_previous
from voicelog.checking.record import Taken
from voicelog.installation import Instrument
from voicelog.model import OpenCircuit, OverRange

HOUSE = sheet(
    *(circuit(str(n), name=f"way {n}", rcd="R", device=breaker("B", "16")) for n in range(1, 12) if n != 5),
    circuit("5", name="sockets", rcd="R", ring=True, cable=cable(length="60")),
    rcds=(rcd("R", type="A"),),
    ze_ohm="0.20",
    main_fuse_A="80",
)
START = datetime(2026, 11, 25, 9, tzinfo=UTC)
MANY = [(reading("earth_leakage", f"{0.5 + 0.1 * n:.1f}", "mA", at=str(n)), "") for n in range(1, 12)]


def explained(*called, previous=None, house=HOUSE):
    taken = tuple(
        Taken(reading=r, reason=why, entry=n, at=START + timedelta(minutes=n))
        for n, (r, why) in enumerate(called, start=1)
    )
    return explain(house, taken, previous, AFTER)


def said(diagnosis, title):
    section = next((section for section in diagnosis.sections if section.title.startswith(title)), None)
    return " ".join(statement.text for statement in section.statements) if section else ""


@pytest.mark.parametrize(("count", "words"), [(1, "1 reading counts (1 was taken)"), (2, "2 readings count (2 were")])
def test_readings_are_counted_in_one_and_in_many(count, words):
    assert words in said(explained(*MANY[:count]), "What was measured")


def test_the_sum_of_many_with_its_reasoning():
    found = said(explained(*MANY, (reading("earth_leakage", "10.8", "mA", rcd="R"), "")), "Earth leakage")
    assert "DB1 R: the sum of many" in found
    assert "root-sum-square" in found and "lies within" in found and "would not fit" in found


@pytest.mark.parametrize(("whole", "room"), [("9.9", "is 0.9 mA over its budget"), ("8.9", "has 0.1 mA left of its")])
def test_what_is_left_of_a_budget_goes_by_what_was_read_at_the_rcd(whole, room):
    """The verdict goes by it too: no RCD is beyond its budget and has some left."""
    found = said(explained(*MANY[:2], (reading("earth_leakage", whole, "mA", rcd="R"), "")), "Earth leakage")
    assert f"R {room}" in found


@pytest.mark.parametrize(
    ("whole", "told"),
    [("8.1", "would not fit."), ("8.0", "would not fit, though one of 1 mA would."), ("5", "fit.")],
)
def test_the_next_computer_may_fit_though_not_every_one_would(whole, told):
    """1 to 3.5 mA each (a maker's article and a trade magazine, 2019); 9 mA of a 30 mA RCD (computed)."""
    found = said(explained(*MANY[:2], (reading("earth_leakage", whole, "mA", rcd="R"), "")), "Earth leakage")
    assert f"of up to 3.5 mA {'would still ' if told == 'fit.' else ''}{told}" in found


def test_nothing_is_left_of_a_budget_that_nothing_was_read_against():
    assert "budget" not in said(explained((reading("ir_le", "0.2", "Mohm"), "")), "Earth leakage")


def test_an_item_that_was_unplugged():
    diagnosis = explained(
        (reading("ir_le", "0.7", "Mohm"), ""), (reading("ir_le", ">200", "Mohm"), "unplugged the tea urn")
    )
    found = said(diagnosis, "Insulation")
    assert (
        "DB1/5, the tea urn: 0.7 Mohm with it, > 200 Mohm without" in found
        and "between 0.538 Mohm and 1.01 Mohm" in found
    )


def test_the_last_record_is_compared_with_what_was_found_not_with_what_was_read_without_an_item():
    last = parse_previous("board,kind,number,leakage_mA,device_A\nDB1,circuit,5,1.2,20\n", "last.csv")
    found, without = (
        (reading("earth_leakage", "4.2", "mA"), ""),
        (reading("earth_leakage", "0.9", "mA"), "unplugged urn"),
    )
    house = sheet(circuit("5", device=breaker("B", "32")))
    told = said(explained(found, without, previous=last, house=house), "Against the last record")
    assert "DB1/5 I leak: 1.2 mA on the last record, 4.2 mA now: 3.5 times worse" in told
    assert "device rating 20 A on the last record, 32 A now" in told
    assert "0.9 mA now" in said(explained(without, previous=last, house=house), "Against the last record")


@pytest.mark.parametrize(("without", "found"), [("90", True), (">200", True), ("0.8", False)])
def test_an_item_that_was_found_is_not_to_be_looked_for_again(without, found):
    leak, low = (reading("earth_leakage", "2", "mA"), ""), (reading("ir_le", "0.5", "Mohm"), "")
    text = as_text(explained(leak, low, (reading("ir_le", without, "Mohm"), "unplugged urn")))
    assert ("unplug items one by one and test insulation again" in text) is not found
    assert ("urn: have it examined" in text) is found and "insulation fault" in text


def test_the_tails_rest_on_the_readings_that_they_are_compared_with():
    leaks = [(reading("earth_leakage", v, "mA", at=str(n)), "") for n, v in enumerate(("1.9", "6.8"), start=1)]
    after = [(at_board("earth_leakage", "2.2", "mA"), "unplugged urn")]
    text = as_text(explained(*leaks, (at_board("earth_leakage", "8.6", "mA"), ""), *after))
    assert "the whole of 8.6 mA lies within. [entries 1-3]" in text


@pytest.mark.parametrize(
    ("circuits", "told"),
    [
        ((), "The parts give 9.63 to 13.60 mA"),  # 9.2 and 2.1 at the devices, 1.9, 0.4 of no RCD
        ((("3", "2.5"), ("4", "2.2")), "The parts give 4.39 to 9.10 mA"),  # those of A, and B at the device
    ],
)
def test_an_rcd_read_itself_stands_for_circuits_that_were_not(circuits, told):
    """Figures computed: the arithmetic sum, and the root of the sum of squares."""
    house = sheet(
        *(circuit(n, rcd=r) for n, r in zip("12345", ("", "", "A", "A", "B"), strict=True)), rcds=(rcd("A"), rcd("B"))
    )
    leaks = (*(("1", "1.9"), ("2", "0.4")), *circuits)
    taken = [(reading("earth_leakage", v, "mA", at=n), "") for n, v in leaks]
    taken += [(reading("earth_leakage", v, "mA", rcd=r), "") for r, v in (("A", "9.2"), ("B", "2.1"))]
    taken += [(at_board("earth_leakage", "14", "mA"), "")]
    assert told in as_text(explained(*taken, house=house))


def test_the_blame_is_on_what_was_found_not_on_what_is_left():
    leaks = [(reading("earth_leakage", v, "mA", at=str(n)), "") for n, v in enumerate(("1.9", "6.8", "0.4"), start=1)]
    after = (reading("earth_leakage", "0.4", "mA", at="2"), "unplugged urn")
    found = said(explained(*leaks, after), "Earth leakage")
    assert "DB1 R as it was found: one culprit" in found and "Circuit 2 (way 2) alone gives 6.8 mA" in found


def test_the_interval_uses_the_accuracy_that_the_sheet_states():
    tester = Instrument(reference="tester", kind="multifunction", accuracy_percent="3")
    pair = ((reading("ir_le", "0.7", "Mohm"), ""), (reading("ir_le", ">200", "Mohm"), "unplugged urn"))
    assert "30 % of reading (BS EN 61557-2, from memory)" in said(explained(*pair), "Insulation")
    stated = said(explained(*pair, house=HOUSE.model_copy(update={"instruments": (tester,)})), "Insulation")
    assert "between 0.680 Mohm and 0.724 Mohm" in stated and "3 % of reading as the sheet states" in stated


def test_an_item_counts_once_and_only_on_its_own_circuit():
    urn = circuit("5", name="sockets", rcd="R", items=("tea urn",))
    house = sheet(urn, circuit("6", rcd="R"), rcds=(rcd("R"),))
    low, high, again = (reading("ir_le", v, "Mohm") for v in ("0.7", "50", "60"))
    other = [(reading("ir_le", "3", "Mohm", at="6"), ""), (reading("ir_le", "9", "Mohm", at="6"), "unplugged tea urn")]
    taken = [(low, ""), (high, "unplugged tea urn"), (again, "unplugged tea urn"), *other]
    assert said(explained(*taken, house=house), "Insulation").count("tea urn") == 1


@pytest.mark.parametrize(
    ("quantity", "unit", "with_it", "without", "blamed"),
    [
        ("earth_leakage", "mA", "6.8", "0.6", True),
        ("earth_leakage", "mA", "6.8", "6.7", False),
        ("earth_leakage", "mA", "6.8", "over_range", False),
        ("ir_le", "Mohm", "0.7", ">200", True),
        ("ir_le", "Mohm", "150", "160", False),
        ("ir_le", "Mohm", "0.00", "50", True),
        ("ir_le", "Mohm", "0.00", "0.00", False),
        ("earth_leakage", "mA", "0.0", "0.0", False),
        ("zs", "ohm", "2.0", "0.5", False),
    ],
)
def test_only_an_item_that_made_the_difference_is_to_be_examined(quantity, unit, with_it, without, blamed):
    later = (reading("zs", "0.5", "ohm", at="6"), "unplugged urn")
    value = OverRange() if without == "over_range" else without
    pair = (reading(quantity, with_it, unit), ""), (reading(quantity, value, unit), "unplugged urn")
    diagnosis = explained(*pair, later)
    assert ("urn: have it examined" in said(diagnosis, "What to try next")) == blamed
    text = as_text(diagnosis)
    assert not blamed or "urn: have it examined before it is connected again. [entries 1-2]" in text


def test_where_all_was_unplugged_one_thing_after_another_is_tried():
    low, high = (reading("ir_le", value, "Mohm") for value in ("0.7", ">200"))
    told = said(explained((low, ""), (high, "unplugged everything")), "What to try next, in this order")
    assert "DB1/5: plug in one thing at a time, with a reading after each" in told and "everything" not in told


def test_of_two_things_unplugged_only_the_one_added_is_told():
    first, both, second = (reading("earth_leakage", figure, "mA") for figure in ("8.0", "2.0", "3.0"))
    chain = (first, "unplugged urn"), (both, "unplugged urn; fridge"), (second, "unplugged fridge")
    told = said(explained(*chain), "Insulation")
    assert "fridge: 8.0 mA with it, 2.0 mA without" in told and "urn:" not in told


def test_leakage_of_an_item_that_was_unplugged():
    house = explained(
        (reading("earth_leakage", "8.0", "mA"), ""), (reading("earth_leakage", "2.0", "mA"), "unplugged the urn")
    )
    text = as_text(house)
    assert "6.00 to 7.75 mA" in text  # 8 - 2, and the root of 64 - 4


def test_leakage_that_was_a_word_before_something_was_unplugged():
    pair = (reading("earth_leakage", "limitation"), ""), (reading("earth_leakage", "2.0", "mA"), "unplugged the urn")
    assert "2.0 mA without." in said(explained(*pair), "Insulation")


def test_an_insulation_fault_is_named_before_the_sum():
    found = said(explained(*MANY, (reading("ir_le", "0.04", "Mohm"), "")), "Earth leakage")
    assert "insulation fault" in found and "Circuit 5 (sockets) reads 0.04 Mohm" in found and "5.75 mA" in found


def test_a_board_against_its_circuits_in_parallel():
    parts = [(reading("ir_le", v, "Mohm", at=str(n)), "") for n, v in enumerate(("5", "20", "10", "20", "2"), start=1)]
    found = said(explained(*parts, (at_board("ir_lne", "1.1", "Mohm"), "")), "Insulation")
    assert "5 measured circuits in parallel give 1.11 Mohm" in found


def test_a_dead_short_is_among_the_circuits_in_parallel():
    parts = [(reading("ir_le", v, "Mohm", at=str(n)), "") for n, v in enumerate(("0.00", "20"), start=1)]
    found = said(explained(*parts, (at_board("ir_lne", "0.00", "Mohm"), "")), "Insulation")
    assert "2 measured circuits in parallel give 0.00 Mohm" in found


def test_the_currents_are_those_of_the_supply_on_the_sheet():
    """Ohm's law: 0.04 Mohm lets 2.75 mA flow at 110 V."""
    house = HOUSE.model_copy(update={"supply": HOUSE.supply.model_copy(update={"nominal_voltage_V": Decimal(110)})})
    found = said(explained((reading("ir_le", "0.04", "Mohm"), ""), house=house), "Earth leakage")
    assert "at 110 V that lets 2.75 mA flow" in found


def test_false_failures_and_what_to_try():
    half = reading("rcd_time", "15", "ms", rcd="R", multiple="0.5")
    diagnosis = explained(*MANY, (half, ""))
    assert "perhaps a false failure" in said(diagnosis, "RCD tests")
    assert said(diagnosis, "What to try next").startswith("DB1 R: Switch off or unplug everything")


def test_a_fail_that_passed_the_next_time_is_told():
    slow, quick = (reading("rcd_time", figure, "ms", rcd="R", multiple="1") for figure in ("340", "20"))
    found = said(explained((slow, ""), (quick, "")), "Failed, then passed")
    assert "DB1/R RCD t: 340 ms, then 20 ms; nothing that is noted" in found and "can be so again" in found
    assert said(explained((slow, ""), (quick, "retest")), "Failed, then passed") == found
    low, high = reading("ir_le", "0.8", "Mohm"), reading("ir_le", ">200", "Mohm")
    assert "DB1/5 IR L-E: 0.8 Mohm, then > 200 Mohm" in said(explained((low, ""), (high, "")), "Failed, then passed")


@pytest.mark.parametrize(
    ("first", "then", "why"), [("0.8", "50", "unplugged urn"), ("50", "60", ""), ("60", "0.8", "")]
)
def test_what_is_explained_or_did_not_pass_is_not_told_again(first, then, why):
    pair = (reading("ir_le", first, "Mohm"), ""), (reading("ir_le", then, "Mohm"), why)
    assert said(explained(*pair), "Failed, then passed") == ""


def test_rings_and_loops():
    ends = [(reading(q, f, "ohm"), "") for q, f in (("ring_r1", "0.44"), ("ring_rn", "0.45"), ("ring_r2", "0.72"))]
    diagnosis = explained(*ends, (reading("r1_r2", "0.29", "ohm"), ""), (reading("zs", "1.20", "ohm"), ""))
    assert "0.27 to 0.29 ohm" in said(diagnosis, "Ring")
    assert "1.20 ohm measured, 0.49 ohm from 0.20 + 0.29" in said(diagnosis, "Loop")


@pytest.mark.parametrize(
    ("ring", "length", "told"),
    [
        (
            False,
            "60",
            "length alone would explain it: 60 m of 2.5/1.5 mm2 on the sheet, and at most 49 m may follow",
        ),
        (False, "49", "The length does not explain it: 49 m"),
        (True, "60", "at most 199 m may follow 0.20 ohm. Look for a joint"),
        (False, None, ""),
    ],
)
def test_a_zs_beyond_its_limit_is_held_against_the_length_of_its_cable(ring, length, told):
    """(1.37 - 0.20) / (1.2 x 0.01951 ohm/m) is 49.97 m of 2.5/1.5 mm2, four times that once round (computed)."""
    house = sheet(circuit("5", ring=ring, cable=cable(length=length)), ze_ohm="0.20")
    found = said(explained((reading("zs", "1.50", "ohm"), ""), house=house), "Loop")
    assert told in found and ("length" in found) is bool(told)


def test_no_cable_is_blamed_for_what_lies_before_the_board():
    house = sheet(circuit("5", cable=cable(length="10")), ze_ohm="1.40")
    found = said(explained((reading("zs", "1.60", "ohm"), ""), house=house), "Loop")
    assert "No cable is short enough: before the board it is already 1.40 ohm" in found and "length" not in found


def test_no_length_is_told_of_where_an_rcd_is_the_fault_protection():
    supply = HOUSE.supply.model_copy(update={"earthing": "TT"})
    found = said(
        explained((reading("zs", "1700", "ohm"), ""), house=HOUSE.model_copy(update={"supply": supply})), "Loop"
    )
    assert "1700 ohm" in found and "length" not in found


@pytest.mark.parametrize(
    ("earthing", "zs", "remains"),
    [
        ("TN-C-S", "1.00", "0.09 ohm remain to the limit of 1.09"),
        ("TN-C-S", "2.0", ""),
        ("TT", "25", "1642 ohm remain to the limit of 1667"),
    ],
)
def test_what_remains_of_the_limit_is_never_less_than_nothing(earthing, zs, remains):
    house = HOUSE.model_copy(update={"supply": HOUSE.supply.model_copy(update={"earthing": earthing})})
    found = said(explained((reading("r1_r2", "0.29", "ohm"), ""), (reading("zs", zs, "ohm"), ""), house=house), "Loop")
    assert "0.49 ohm from" in found and remains in found and ("remain" in found) is bool(remains)


def test_an_open_leg():
    diagnosis = explained((reading("ring_r2", OpenCircuit(), "ohm"), ""))
    assert "open circuit in the protective conductor (r2)" in said(diagnosis, "Ring")


def test_a_trend_with_time_to_the_limit():
    rising = [(reading("earth_leakage", f"{2 + 0.2 * i:.1f}", "mA"), "") for i in range(8)]
    assert "reaches its limit in 28 minutes" in said(explained(*rising), "Over time")


def test_a_trend_beyond_its_limit_and_a_culprit_alone_behind_its_rcd():
    rising = [(reading("earth_leakage", f"{12 + 0.2 * i:.1f}", "mA"), "") for i in range(8)]
    found = explained(*rising, house=sheet(circuit("5", rcd="R"), rcds=(rcd("R"),)))
    assert "it is beyond its limit already" in said(found, "Over time")
    told = said(found, "Earth leakage")
    assert "Circuit 5 alone gives 13.4 mA." in told and "R is 4.4 mA over its budget" in told


def test_a_word_before_the_figures_of_a_trend():
    """A circuit that could not be tested at first ("limitation") has no unit then."""
    word = reading("earth_leakage", "limitation")
    rising = [(reading("earth_leakage", f"{2 + 0.2 * i:.1f}", "mA"), "") for i in range(8)]
    assert "reaches its limit in 28 minutes" in said(explained((word, ""), *rising), "Over time")


def test_a_trend_whose_last_figure_is_in_another_unit():
    rising = [(reading("earth_leakage", f"{2 + 0.2 * i:.1f}", "mA"), "") for i in range(7)]
    found = said(explained(*rising, (reading("earth_leakage", "3400", "uA"), "")), "Over time")
    assert "+200 uA a minute" in found and "reaches its limit in 28 minutes" in found


def test_a_trend_that_has_settled():
    flat = [(reading("earth_leakage", v, "mA"), "") for v in ("1.0", "2.0", "2.9", "3.0", "3.0", "3.0", "3.0")]
    assert "it has settled at about 3 mA" in said(explained(*flat), "Over time")


def test_the_last_record():
    last = parse_previous("board,number,main_fuse_A,zs_ohm\nDB1,,100,\nDB1,5,,0.52\n", "last.csv")
    found = explained((reading("zs", "5.2", "ohm"), ""), previous=last)
    text = said(found, "Against the last record")
    assert text.index("10 times more") < text.index("Main fuse")


def test_suggested_observations_leave_the_decision():
    text = as_text(explained((reading("zs", "2.0", "ohm"), "")))
    assert "C2, DB1/5" in text and "qualified person" in text


def test_a_suggested_observation_names_the_point_that_was_touched():
    touched = reading("r2_cpc", "no_earth", "ohm", point="point 3: radiator")
    assert "C2, DB1/5 at point 3: radiator: No effective" in said(explained((touched, "")), "Suggested observations")


def test_every_figure_has_its_origin():
    diagnosis = explained(*MANY, (reading("zs", "2.0", "ohm"), ""), (reading("ir_le", "0.4", "Mohm"), ""))
    for section in diagnosis.sections:
        if section.title not in ("What was measured", "What to try next, in this order"):
            assert all(statement.origins for statement in section.statements), section.title


def test_cautions_fit_what_was_done():
    quiet = explained((reading("points", "8"), "")).cautions
    assert len(quiet) == 2 and "aid" in quiet[0] and "prove dead" in quiet[1]
    live = explained((at_board("ze", "0.2", "ohm"), ""), (reading("ir_le", "50", "Mohm"), "")).cautions
    assert any("reconnect it" in c for c in live) and any("electronics" in c for c in live)


@pytest.mark.parametrize(
    ("board", "gone"), [("DB1", {"at": "12"}), ("DB1", {"rcd": "R9"}), ("DB9", {"at": ""}), ("DB9", {"at": "5"})]
)
def test_what_the_sheet_no_longer_has_is_named_and_the_rest_explained(board, gone):
    elsewhere = reading("earth_leakage", "3", "mA", **gone)
    elsewhere = elsewhere.model_copy(update={"place": elsewhere.place.model_copy(update={"board": board})})
    diagnosis = explained((elsewhere, ""), (reading("zs", "2.0", "ohm"), ""))
    assert "not on the job sheet" in said(diagnosis, "Places that the job sheet lacks")
    assert "1 reading counts" in said(diagnosis, "What was measured") and "Zs 2.0 ohm" in said(diagnosis, "Loop")


def test_a_circuit_and_an_rcd_of_one_name_are_two_places():
    house = sheet(circuit("1", rcd="1"), circuit("2", rcd="1"), rcds=(rcd("1"),))
    high = (reading("earth_leakage", "9.8", "mA", at="1"), ""), (reading("earth_leakage", "0.3", "mA", at="2"), "")
    text = as_text(explained(*high, (reading("earth_leakage", "10.1", "mA", rcd="1"), ""), house=house))
    assert "3 readings count (3 were taken)" in text and "2 outside" in text


def test_a_large_job_is_explained_in_time():
    """400 circuits, four readings each: 8 s while each look-up went through all readings, half a second since."""
    ways = [circuit(str(n), rcd=f"R{n // 20}", device=breaker("B", "16")) for n in range(1, 401)]
    house = sheet(*ways, rcds=tuple(rcd(f"R{n}") for n in range(21)), ze_ohm="0.2")
    kinds = ("r1_r2", "0.4", "ohm"), ("ir_le", "20", "Mohm"), ("zs", "0.6", "ohm"), ("earth_leakage", "0.4", "mA")
    taken = [(reading(*kind, at=way.number), "") for kind in kinds for way in ways]
    began = time.process_time()
    assert "1600 readings count" in said(explained(*taken, house=house), "What was measured")
    assert time.process_time() - began < 3


def test_an_empty_job_says_little_and_does_not_break():
    text = as_text(explained())
    assert "0 readings count" in text and "A4:2026 is in force" in text


@pytest.mark.parametrize(("numbers", "text"), [([4], "4"), ([1, 2, 3], "1-3"), ([1, 3, 4, 9], "1, 3-4, 9")])
def test_runs(numbers, text):
    assert runs(numbers) == text
