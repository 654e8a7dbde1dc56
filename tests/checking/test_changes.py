"""What changed since the last record, the most important first."""

import pytest

from tests.checking.sheets import D, breaker, cable, circuit, rcd, reading, sheet
from voicelog.checking.changes import RANKS, compare
from voicelog.checking.previous import parse_previous
from voicelog.model import OpenCircuit

LAST = parse_previous(
    "board,kind,number,name,device_type,device_A,points,rcd_mA,rcd_type,main_fuse_A,line_mm2,"
    "r1_r2_ohm,ir_live_earth_Mohm,zs_ohm,rcd_1x_0deg_ms,leakage_mA\n"
    "DB1,board,,,,,,,,100,,,,,,\n"
    "DB1,circuit,5,sockets,B,32,8,30,AC,,2.5,0.52,0.7,0.74,25,1.0\n"
    "DB1,circuit,6,lights,B,6,12,,,,1.5,,200,1.10,,\n"
    "DB1,circuit,7,shower,B,40,1,,,,10,,,0.45,,\n",
    "last.csv",
)
NOW = sheet(
    circuit("5", name="Sockets", points=9, device=breaker("B", "32.0"), rcd="R", cable=cable()),
    circuit("6", name="lights", points=12, device=breaker("C", "6"), cable=cable("1.5", "1.0")),
    circuit("8", name="heat pump"),
    rcds=(rcd("R", type="A"),),
    main_fuse_A="80",
)


def kinds(*readings):
    return [(change.kind, change.place.key) for change in compare(LAST, NOW, readings)]


def test_facts_are_ranked():
    found = kinds()
    assert found == [
        ("supply", "DB1"),
        ("device", "DB1/5"),  # RCD type AC, now A
        ("device", "DB1/6"),  # type B, now C
        ("circuit", "DB1/8"),
        ("circuit", "DB1/7"),
        ("points", "DB1/5"),
    ]


def test_same_figures_written_otherwise_and_case_do_not_differ():
    """32 and 32.0, sockets and Sockets."""
    assert not any("32" in change.sentence or "ockets" in change.sentence for change in compare(LAST, NOW, ()))


def test_slips_come_first():
    found = compare(LAST, NOW, (reading("zs", "7.4", "ohm"),))
    assert found[0].kind == "slip" and "10 times more" in found[0].sentence


def test_a_unit_slip():
    found = compare(LAST, NOW, (reading("ir_le", "200", "kohm", at="6"),))
    assert found[0].kind == "slip" and "the unit" in found[0].sentence


def test_a_tenfold_fall_of_insulation_is_no_slip_unless_the_digits_agree():
    assert compare(LAST, NOW, (reading("ir_le", "19", "Mohm", at="6"),))[0].kind != "slip"
    assert ("worse", "DB1/6") in kinds(reading("ir_le", "19", "Mohm", at="6"))


def test_worse_readings_are_ranked_by_how_much():
    found = kinds(reading("zs", "2.3", "ohm"), reading("r1_r2", "1.9", "ohm"), reading("ir_le", "0.2", "Mohm"))
    assert [key for kind, key in found if kind == "worse"] == ["DB1/5"] * 3
    changes = [
        c
        for c in compare(LAST, NOW, (reading("zs", "2.3", "ohm"), reading("r1_r2", "1.9", "ohm")))
        if c.kind == "worse"
    ]
    assert changes[0].weight > changes[1].weight and "3.7 times worse" in changes[0].sentence


def test_an_old_pass_of_half_a_megohm_is_explained():
    """0.5 Mohm on old records is superseded by 1.0 (an examination study page; an instrument maker's manual p15)."""
    found = next(c for c in compare(LAST, NOW, (reading("ir_le", "0.3", "Mohm"),)) if c.kind == "worse")
    assert "1.0 is needed now" in found.sentence


@pytest.mark.parametrize(
    ("then", "told"),
    [
        ("250", "2 Mohm at 250 V on the last record, 0.3 Mohm at 500 V now"),
        ("500", "2 Mohm on the last record, 0.3 Mohm now"),
        ("250/500", "2 Mohm on the last record, 0.3 Mohm now"),  # it may have been either
        ("", "2 Mohm on the last record, 0.3 Mohm now"),
    ],
)
def test_insulation_at_another_test_voltage_is_compared_and_told_with_both(then, told):
    """250 V in place of 500 V where equipment cannot be disconnected (regulation 643.3.3, from memory)."""
    last = parse_previous(f"board,number,ir_test_V,ir_live_earth_Mohm\nDB1,5,{then},2\n", "last.csv")
    found = compare(last, NOW, (reading("ir_le", "0.3", "Mohm", test_voltage_V="500"),))
    assert any(told in change.sentence for change in found if change.kind == "worse")


def test_small_changes_go_unmentioned_and_better_ones_are_no_worse():
    assert ("reading", "DB1/5") not in kinds(reading("zs", "0.80", "ohm"))
    assert ("reading", "DB1/5") in kinds(reading("zs", "0.40", "ohm"))
    assert ("worse", "DB1/5") not in kinds(reading("zs", "0.30", "ohm"))


def test_a_figure_that_became_a_word():
    assert ("reading", "DB1/5") in kinds(reading("r1_r2", OpenCircuit(), "ohm"))


def test_only_the_last_reading_of_a_kind_counts():
    found = kinds(reading("zs", "7.4", "ohm"), reading("zs", "0.75", "ohm"))
    assert found[0][0] != "slip"


def test_the_ranks_are_in_order():
    readings = (reading("zs", "7.4", "ohm"), reading("r1_r2", "1.9", "ohm"), reading("earth_leakage", "1.5", "mA"))
    found = [RANKS.index(change.kind) for change in compare(LAST, NOW, readings)]
    assert found == sorted(found)


def test_the_same_job_again_has_no_changes():
    same = sheet(
        circuit("5", name="sockets", points=8, device=breaker("B", "32"), rcd="R"),
        circuit("6", name="lights", points=12, device=breaker("B", "6")),
        circuit("7", name="shower", points=1, device=breaker("B", "40")),
        rcds=(rcd("R", type="AC"),),
        main_fuse_A="100",
    )
    again = tuple(r for row in LAST.rows for r in row.readings)
    assert compare(LAST, same, again) == ()


def test_a_change_weighs_how_many_times():
    change = compare(LAST, NOW, (reading("earth_leakage", "4.0", "mA"),))
    assert next(c for c in change if c.kind == "worse").weight == D(4)
