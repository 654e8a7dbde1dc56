"""The pictures: sound SVG, every figure written out, lengths in proportion, and never by colour alone."""

from decimal import Decimal
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.showing import sample
from voicelog.keeping.record import fold
from voicelog.model import Place
from voicelog.showing.charts import (
    Forecast,
    LeakageBar,
    LeakagePart,
    MapCell,
    MapRow,
    Point,
    Share,
    Step,
    board_map,
    chain_chart,
    leakage_chart,
    share_chart,
    trend_chart,
)
from voicelog.showing.drawing import HATCHES, SVG, TINTS
from voicelog.showing.pictures import Budget, Regrouped, pictures
from voicelog.showing.schedule import schedule_of
from voicelog.showing.wording import load_wording

BUDGET = Budget(budget_mA=Decimal("9.0"), floor_mA=Decimal(15))


def tags(picture, name):
    return ElementTree.fromstring(picture.svg).findall(f".//{{{SVG}}}{name}")


def words(picture):
    return [node.text for node in tags(picture, "text")]


def bar(*parts, budget="9", label="RCD1"):
    made = tuple(LeakagePart(circuit=str(i), leakage_mA=Decimal(p), position=i) for i, p in enumerate(parts, 1))
    return LeakageBar(label=label, parts=made, budget_mA=Decimal(budget), floor_mA=Decimal(15))


def job_pictures(regrouped=()):
    entries = sample.story()
    schedule = schedule_of(sample.sheet(), entries)
    budgets = {"DB1/RCD1": BUDGET, "DB1/RCD2": BUDGET}
    return pictures(schedule, fold(entries), load_wording(), budgets, regrouped)


def test_an_rcd_read_itself_is_drawn_with_it():
    """The sample reads no RCD; one reading more at RCD1 than its circuits give is over the budget."""
    before = job_pictures()[0].words
    read = ("r c d one earth leakage", sample.reading(sample.place(rcd="RCD1"), "earth_leakage", "30.0", "mA"))
    told = sample.Story()
    told.entries = list(sample.story())
    told.affirmed(*read)
    drawn = pictures(
        schedule_of(sample.sheet(), told.entries),
        fold(told.entries),
        load_wording(),
        {"DB1/RCD1": BUDGET, "DB1/RCD2": BUDGET},
    )[0].words
    assert "RCD1: 3.04 mA" in before and "RCD1: 30.0 mA" in drawn


def test_a_split_that_leaves_circuits_out_says_so():
    """Their leakage is not known: the bars show less than the RCDs will bear."""
    groups = {"RCD1": ("DB1/1",), "RCD2": ("DB1/2",)}
    leaks = {key: (Decimal(1), "") for (key,) in groups.values()}
    split = Regrouped(board="DB1", groups=groups, leaks=leaks, budgets=dict.fromkeys(groups, BUDGET))
    assert job_pictures((split,))[1].title.endswith("after regrouping, only what was read circuit by circuit")


def test_the_boxes_of_a_bar_are_as_long_as_their_leakages():
    picture = leakage_chart([bar("1.00", "2.00", "4.50")])
    boxes = [r for r in tags(picture, "rect") if r.get("fill").startswith("url") and r.get("height") == "26"]
    widths = [float(box.get("width")) for box in boxes]
    assert widths[1] / widths[0] == pytest.approx(2, abs=0.01) and widths[2] / widths[0] == pytest.approx(4.5, abs=0.01)
    starts = [float(box.get("x")) for box in boxes]
    assert starts[1] == pytest.approx(starts[0] + widths[0], abs=0.02)


def test_the_budget_line_stands_where_the_budget_ends():
    picture = leakage_chart([bar("9.0")])
    box = next(r for r in tags(picture, "rect") if r.get("height") == "26")
    end = float(box.get("x")) + float(box.get("width"))
    lines = [float(line.get("x1")) for line in tags(picture, "line") if line.get("stroke-width") == "2"]
    assert lines[0] == pytest.approx(end, abs=0.02) and lines[1] > lines[0]


@pytest.mark.parametrize(("parts", "over"), [(("4.00", "5.00"), False), (("4.00", "5.01"), True)])
def test_over_the_budget_is_said_by_sign_and_word(parts, over):
    picture = leakage_chart([bar(*parts)])
    assert ("✗" in words(picture)) is over
    assert ("over it" in picture.words) is over and f"{9 if not over else Decimal('9.01')} mA" in words(picture)


def test_parts_keep_the_zeros_that_were_spoken_and_their_sum_has_none():
    """As the plan and the diagnosis print sums."""
    picture = leakage_chart([bar("1.50", "2.0", "6.50", budget="30")])
    assert "RCD1: 10 mA (circuit 1 1.50, circuit 2 2.0, circuit 3 6.50)" in picture.words and "10 mA" in words(picture)


def test_what_was_read_at_the_rcd_beyond_its_circuits_is_drawn_and_counts():
    picture = leakage_chart([bar("1.9", "6.8").model_copy(update={"whole_mA": Decimal("9.9")})])
    boxes = [float(r.get("width")) for r in tags(picture, "rect") if r.get("height") == "26"]
    assert boxes[2] / boxes[0] == pytest.approx(1.2 / 1.9, abs=0.01)
    assert "read at the RCD beyond its circuits" in words(picture) and "110 % of budget" in words(picture)
    assert "9.9 mA" in words(picture) and "beyond its circuits 1.2" in picture.words and "over it" in picture.words


def test_less_read_at_the_rcd_than_its_circuits_give_leaves_the_safe_bound():
    picture = leakage_chart([bar("1.9", "6.8").model_copy(update={"whole_mA": Decimal("7.5")})])
    assert "8.7 mA" in words(picture) and "beyond" not in picture.words


def test_an_rcd_with_nothing_measured_can_be_drawn():
    assert "RCD1: 0 mA, 0 % of its budget" in leakage_chart([bar()]).words


def test_hatches_differ_without_colour():
    assert len(set(HATCHES)) == len(set(TINTS)) == 6


@pytest.mark.parametrize(
    ("more", "columns", "whole"), [("", 3, True), (", unplugged coffee machine", 2, True), (" so on" * 20, 1, False)]
)
def test_a_legend_has_as_many_columns_as_leave_its_labels_whole(more, columns, whole):
    parts = [LeakagePart(circuit=str(i), name=f"circuit{more}", leakage_mA=1, position=i) for i in range(1, 5)]
    picture = leakage_chart([LeakageBar(label="RCD1", parts=tuple(parts), budget_mA=9, floor_mA=15)])
    assert any(text == f"4  circuit{more}" for text in words(picture)) is whole
    boxes = [r for r in tags(picture, "rect") if r.get("height") == "13"]
    assert len({box.get("x") for box in boxes}) == columns


def test_no_two_circuits_of_a_board_look_alike():
    picture = leakage_chart([bar(*["1.0"] * 36)])
    fills = [r.get("fill") for r in tags(picture, "rect") if r.get("height") == "26"]
    assert len(fills) == len(set(fills)) == 36


def test_a_circuit_keeps_its_hatch_after_regrouping():
    groups = {"RCD1": ("DB1/5",), "RCD2": ("DB1/1", "DB1/2")}
    leaks = {f"DB1/{number}": (Decimal(1), "") for number in range(1, 10)}
    split = Regrouped(board="DB1", groups=groups, leaks=leaks, budgets=dict.fromkeys(groups, BUDGET))
    before, after = job_pictures((split,))[:2]
    assert after.title.endswith("after regrouping")
    hatch = {}
    for picture in (before, after):
        boxes = [r.get("fill") for r in tags(picture, "rect") if r.get("height") == "13"]
        legend = [text for text in words(picture) if text[0].isdigit() and text[1:3] == "  "]
        for text, fill in zip(legend, boxes, strict=True):
            assert hatch.setdefault(text, fill) == fill


def test_shares_against_each_limit():
    shares = [
        Share(label="1 cooker", value="0.31 Ω", limit="1.09", share=Decimal("0.31") / Decimal("1.09")),
        Share(label="8 heater", value="1.20 Ω", limit="1.09", share=Decimal("1.20") / Decimal("1.09"), outcome="fail"),
    ]
    picture = share_chart(shares)
    assert "0.31 Ω of 1.09" in words(picture) and "✗" in words(picture) and "✓" in words(picture)
    assert "8 heater: 1.20 Ω of 1.09, 110 %" in picture.words
    limit = next(line for line in tags(picture, "line") if line.get("stroke-width") == "2")
    ends = [float(b.get("x")) + float(b.get("width")) for b in tags(picture, "rect") if b.get("height") == "17"]
    assert ends[0] < float(limit.get("x1")) < ends[1]


def test_a_chain_of_retests_shows_values_reasons_and_the_limit():
    steps = [
        Step(value=Decimal("0.40"), text="0.40 MΩ"),
        Step(value=Decimal("2.50"), text="2.50 MΩ", why="unplugged the tea urn"),
    ]
    picture = chain_chart(steps, Decimal("1.00"), "limit 1.00 MΩ", "IR")
    assert {"0.40 MΩ", "2.50 MΩ", "limit 1.00 MΩ", "first reading", "unplugged the tea urn"} <= set(words(picture))
    low, high = (float(dot.get("cy")) for dot in tags(picture, "circle"))
    limit = next(float(line.get("y1")) for line in tags(picture, "line") if line.get("stroke-dasharray"))
    assert high < limit < low  # upward is less


def test_a_trend_shows_points_limit_and_forecast():
    points = [Point(minutes=Decimal(i), value=Decimal(v)) for i, v in enumerate(("2.10", "2.35", "2.48", "2.80"))]
    forecast = Forecast(at_end=2.8, per_minute=0.2, low=0.1, high=0.3, minutes=30)
    picture = trend_chart(points, "mA", Decimal("9.0"), forecast, "Leakage over time")
    assert len(tags(picture, "circle")) == 4 and len(tags(picture, "polygon")) == 1
    assert "from 2.10 to 2.80 mA" in picture.words and "+0.2 mA a minute (+0.1 to +0.3)" in picture.words
    assert not tags(trend_chart(points, "mA", None, None, "x"), "polygon")


def test_the_board_map_says_by_sign_what_is_done():
    row = MapRow(label="7 lights", cells=(MapCell(outcome="pass"), MapCell(waiting=True), MapCell()))
    picture = board_map([row], ("continuity", "insulation", "Zs"))
    assert {"✓", "?"} <= set(words(picture))
    assert picture.words == "7 lights: continuity within limit, insulation not answered, Zs nothing yet."


def test_a_job_gives_a_picture_for_each_thing_it_has():
    titles = [picture.title for picture in job_pictures()]
    assert titles == [
        "Earth leakage against each RCD's budget",
        "Zs against the limit of each circuit",
        "IR L-E of circuit 5, taken again",
        "What is done on DB1",
    ]
    assert [p.title for p in pictures(schedule_of(sample.sheet(), ()), fold(()), load_wording())] == [
        "What is done on DB1"
    ]


def test_each_of_several_boards_has_pictures_of_its_own_with_its_name():
    one = sample.sheet()
    two = one.model_copy(update={"boards": (*one.boards, one.boards[0].model_copy(update={"reference": "DB2"}))})
    tell, limit = sample.Story(), sample.verdict("pass", sample.ZS_32, "1.09", "ohm")
    for board in ("DB1", "DB2"):
        place = Place(board=board, circuit="5")
        tell.affirmed("words", sample.reading(place, "zs", "0.30", "ohm"), limit)
        tell.affirmed("words", sample.reading(place, "earth_leakage", "1.0", "mA"))
    budgets = {f"{board}/RCD2": BUDGET for board in ("DB1", "DB2")}
    drawn = pictures(schedule_of(two, tell.entries), fold(tell.entries), load_wording(), budgets)
    for title in ("Earth leakage against each RCD's budget", "Zs against the limit of each circuit"):
        assert [p.title for p in drawn if p.title.startswith(title)] == [f"{title}, DB1", f"{title}, DB2"]


def test_leakage_that_was_read_with_something_unplugged_says_so():
    tell = sample.Story()
    tell.affirmed("words", sample.reading(sample.place("8"), "earth_leakage", "1.0", "mA"), reason="unplugged urn")
    drawn = pictures(
        schedule_of(sample.sheet(), tell.entries), fold(tell.entries), load_wording(), {"DB1/RCD2": BUDGET}
    )
    assert "unplugged urn" in ElementTree.tostring(ElementTree.fromstring(drawn[0].svg), encoding="unicode")


def test_a_reading_called_again_and_again_becomes_a_trend():
    tell = sample.Story()
    for figure in ("40.0", "0.0612", "72", "80.5"):
        unit = "Gohm" if figure == "0.0612" else "Mohm"
        tell.affirmed("words", sample.reading(sample.place("5"), "ir_le", figure, unit, test_voltage_V="500"))
    schedule, record = schedule_of(sample.sheet(), tell.entries), fold(tell.entries)
    last = tell.entries[-1].number - 1
    forecast = Forecast(at_end=80, per_minute=60, low=30, high=90, minutes=1)
    trend = pictures(schedule, record, load_wording(), forecasts={last: forecast})[0]
    assert trend.title == "IR L-E of circuit 5 over time"
    assert "4 readings" in trend.words and "from 40.0 to 80.5 MΩ" in trend.words and "+60 MΩ a minute" in trend.words
    heights = [float(dot.get("cy")) for dot in tags(trend, "circle")]
    assert heights == sorted(heights, reverse=True)  # 0.0612 GΩ lies between 40 and 72 MΩ


def test_a_large_board_is_drawn_in_parts_that_fit_a_page():
    tell = sample.Story()
    limit = sample.verdict("pass", sample.ZS_32, "1.09", "ohm")
    for n in range(70):
        tell.affirmed("words", sample.reading(sample.place(str(n + 1)), "zs", "0.30", "ohm"), limit)
    drawn = pictures(schedule_of(sample.sheet(), tell.entries), fold(tell.entries), load_wording())
    assert [p.title for p in drawn if p.title.startswith("Zs")] == [
        f"Zs against the limit of each circuit ({n} of 3)" for n in (1, 2, 3)
    ]
    assert sum(p.words.count("0.30 Ω of 1.09") for p in drawn) == 70
    assert all(float(ElementTree.fromstring(p.svg).get("height")) < 900 for p in drawn)


def test_the_test_of_an_rcd_counts_for_the_circuits_behind_it():
    told = job_pictures()[-1].words
    assert "1  cooker: " in told and told.count("RCD within limit") == 4  # four circuits lie behind RCD1


def test_leakages_add_up_as_the_schedule_has_them():
    told = job_pictures()[0].words
    assert "RCD1: 3.04 mA" in told  # 0.42 + 1.95 + 0.12 + 0.55
    assert "RCD2: 7.45 mA" in told and "83 % of its budget" in told  # 3.20 + 2.85 + 0.30 + 1.10; 7.45 / 9.0


FIGURES = st.decimals(min_value="0.01", max_value="900", places=2)


@settings(max_examples=40)
@given(st.lists(FIGURES, min_size=1, max_size=12), FIGURES)
def test_any_leakages_make_a_sound_picture(parts, budget):
    picture = leakage_chart([bar(*parts, budget=str(budget)), bar(label="<b>&")])
    assert f"{sum(parts).normalize():f} mA" in words(picture)
    assert all(float(r.get("width")) >= 0 for r in tags(picture, "rect"))


@settings(max_examples=40)
@given(st.lists(FIGURES, min_size=2, max_size=8), FIGURES)
def test_any_trend_and_chain_make_a_sound_picture(values, limit):
    points = [Point(minutes=Decimal(i), value=v) for i, v in enumerate(values)]
    steps = [Step(value=v, text=str(v)) for v in values]
    for picture in (trend_chart(points, "mA", limit, None, "t"), chain_chart(steps, limit, "limit", "c")):
        for dot in tags(picture, "circle"):
            assert 0 <= float(dot.get("cx")) <= 720 and 0 <= float(dot.get("cy")) <= 250
