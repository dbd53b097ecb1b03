"""Farm files: defaults with their origins, every fault at once, and an export that reads back."""

from __future__ import annotations

import math
import tomllib
from dataclasses import fields
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.crop_table import CROPS
from service.agronomy.records import WallWindow
from service.errors import FarmFileInvalid, Fault
from service.farm_files.farm_file import parse_farm, read_farm_file, write_farm_file
from service.records.farms import BLOCK_NUMBERS, BlockDefinition, FarmBundle

TEMPLATE = Path(__file__).resolve().parents[2] / "examples" / "farm-template.toml"

# An invented farm.
HEAD = """
[farm]
id = "hill"
zone = "America/New_York"

[[site]]
id = "home"
latitude = 35.9
longitude = -79.2
elevation = "500 ft"

[[supply]]
id = "well"
flow = "60 gpm"
"""
BLOCK = """
[[block]]
id = "north"
crop = "blueberry"
area = "1 ac"
row_spacing = "10 ft"
emitter_spacing = "18 in"
emitter_flow = "0.5 gph"
soil = { texture = "sandy loam" }
season = { start = "03-20", lengths = [25, 45, 110, 50] }
"""


def parse(text: str) -> FarmBundle:
    return parse_farm(text, name="farm.toml")


def block_with(extra: str = "", *, without: str = "", head: str = HEAD) -> BlockDefinition:
    (block,) = parse(block_text(extra, without=without, head=head)).blocks
    return block


def block_text(extra: str = "", *, without: str = "", head: str = HEAD) -> str:
    lines = [
        line
        for line in BLOCK.splitlines()
        if not any(line.startswith(f"{key} =") for key in without.split())
    ]
    return "\n".join([head, *lines, extra])


def faults_of(text: str) -> tuple[Fault, ...]:
    with pytest.raises(FarmFileInvalid) as caught:
        parse(text)
    assert all(str(fault) in str(caught.value) for fault in caught.value.faults)
    return caught.value.faults


def only_fault_of(text: str) -> Fault:
    (fault,) = faults_of(text)
    return fault


def assert_same(left: FarmBundle, right: FarmBundle) -> None:
    """Equal field by field, NaN equal to NaN."""
    assert (left.farm, left.sites, left.counties, left.supplies) == (
        right.farm,
        right.sites,
        right.counties,
        right.supplies,
    )
    assert len(left.blocks) == len(right.blocks)
    for one, other in zip(left.blocks, right.blocks, strict=True):
        for name in (part.name for part in fields(BlockDefinition)):
            before, after = getattr(one, name), getattr(other, name)
            both_unknown = repr(before) == repr(after) == "nan"
            assert before == after or both_unknown, name


# --- what a file gives ---------------------------------------------------------------------------


def test_the_template_is_a_good_file_and_names_every_key() -> None:
    bundle = read_farm_file(TEMPLATE)
    assert [block.block_id for block in bundle.blocks] == [
        "example-farm.north",
        "example-farm.south",
    ]
    text = TEMPLATE.read_text("utf-8")
    assert "INVENTED" in text
    with pytest.raises(FarmFileInvalid) as caught:
        parse(block_text("unheard_of = 1"))
    listed = caught.value.faults[0].allowed.removeprefix("one of ").split(", ")
    assert len(listed) > 35
    assert [key for key in listed if f"{key} =" not in text and f"[block.{key}]" not in text] == []


def test_a_short_file_gives_a_full_block_in_si() -> None:
    block = block_with()
    assert block.block_id == "hill.north"
    assert (block.supply_id, block.site_id, block.name) == ("well", "home", "north")
    # By definition: 1 acre = 4046.8564224 m2, 10 ft = 3.048 m, 1 US gallon = 3.785411784 L.
    assert block.area_m2 == 4046.8564224
    assert block.row_spacing_m == 3.048
    assert block.emitter_spacing_m == 0.4572
    assert block.emitter_flow_l_per_h == 1.892705892
    assert block.curve.season_start == (3, 20)
    assert block.curve.stage_knots == (25.0, 70.0, 180.0, 230.0)
    assert block.windows == (WallWindow(240, 1260),)


def test_defaults_are_those_of_the_model() -> None:
    block = block_with()
    # FAO-56 Tables 12 and 22, berries: Kc 0.30/1.05/0.50, height 1.5 m, roots from 0.6 m, p 0.50.
    assert (block.kc_initial, block.kc_mid, block.kc_end) == (0.30, 1.05, 0.50)
    assert (block.table_height_m, block.root_depth_m, block.depletion_fraction) == (1.5, 0.6, 0.5)
    # Choices of the model.
    assert (block.trigger_fraction, block.rain_room_fraction) == (0.7, 0.3)
    assert (block.longest_pulse_min, block.daily_maximum_min) == (240.0, 1440.0)
    assert (block.emission_uniformity_pct, block.fill_time_min) == (90.0, 3.0)
    assert (block.valve_gap_s, block.leaching_fraction, block.transmission_ratio) == (0, 0, 1)
    assert (block.mulch_cover_fraction, block.mulch_rain_pass_fraction) == (0.0, 1.0)
    # Allen & Pereira 2009, from memory: min(1, 1.5 x 0.60, 0.60^(1/2.5)) = 0.8152.
    assert block.reference_canopy_ratio == pytest.approx(0.8152, abs=5e-5)
    for number in (block.curve_number, block.planting_year, block.initial_depletion_mm):
        assert math.isnan(number)


def test_every_number_says_where_it_comes_from() -> None:
    block = block_with('root_depth = "0.5 m"')
    assert set(block.origins) == {*BLOCK_NUMBERS, "curve", "windows"}
    assert block.origins["area_m2"] == block.origins["root_depth_m"] == "given"
    assert "FAO-56" in block.origins["kc_mid"]
    assert "Keller" in block.origins["wetted_fraction"]
    assert "EP405" in block.origins["emission_uniformity_pct"]
    assert "sandy-loam" in block.origins["field_capacity"]
    assert block.origins["windows"] == "windows of the supply"


def test_defaults_grow_with_age_and_given_sizes_stay() -> None:
    block = block_with()
    assert (block.root_depth_is_scaled, block.canopy_is_scaled) == (True, True)
    assert block.root_share_is_scaled is True
    block = block_with('root_depth = "0.5 m"\ncanopy_height = "1 m"\nroot_share_of_wetted = 0.5')
    assert (block.root_depth_is_scaled, block.root_share_is_scaled) == (False, False)
    assert (block.canopy_is_scaled, block.canopy_height_is_scaled) == (True, False)
    block = block_with("canopy_cover = 0.4")
    assert (block.canopy_is_scaled, block.canopy_height_is_scaled) == (False, True)


MEASURED = 'planting_year = 2024\ncanopy_height = "1 m"\ncanopy_measured_on = 2025-07-02'


def test_a_measured_canopy_carries_its_day_and_what_it_grows_to() -> None:
    block = block_with(MEASURED)
    assert block.canopy_measured_year == pytest.approx(2025.0 + 182 / 365)
    assert block.full_height_m == CROPS[block.crop_key].reference_height_m
    assert block.origins["canopy_height_is_scaled"] == "measured, grows from there"
    bundle = parse(block_text(MEASURED))
    assert_same(parse(write_farm_file(bundle)), bundle)


def test_a_canopy_without_its_day_is_of_this_year() -> None:
    block = block_with('planting_year = 2024\ncanopy_height = "1 m"')
    assert math.isnan(block.canopy_measured_year) and math.isnan(block.full_height_m)
    assert block.origins["canopy_height_is_scaled"] == "given for this year"


@pytest.mark.parametrize(
    ("lines", "key", "allowed"),
    [
        ("canopy_measured_on = 2025-07-02", "canopy_measured_on", "canopy_cover or canopy_height"),
        ("full_height = '2 m'", "full_height", "canopy_measured_on beside it"),
        (
            "planting_year = 2024\ncanopy_cover = 0.2\ncanopy_measured_on = 2023-07-02",
            "canopy_measured_on",
            "not before the planting_year",
        ),
    ],
    ids=["nothing measured", "no day", "before planting"],
)
def test_a_day_of_measurement_that_fits_nothing_is_refused(
    lines: str, key: str, allowed: str
) -> None:
    fault = only_fault_of(block_text(lines))
    assert fault.where.endswith(key)
    assert allowed in fault.allowed


@pytest.mark.parametrize(
    ("texture", "group"), [("sand", 0.0), ("loam", 1.0), ("Sandy Loam", 1.0), ("clay", 2.0)]
)
def test_the_off_time_follows_the_texture(texture: str, group: float) -> None:
    block = block_with(f'soil = {{ texture = "{texture}" }}', without="soil")
    assert (block.texture_group, block.off_ratio) == (group, group + 1.0)


def test_a_laboratory_sheet_and_measured_water_describe_a_soil_too() -> None:
    block = block_with(
        'soil = { sand = "65 %", clay = 0.10, organic_matter = "2.5 %" }', without="soil"
    )
    # Saxton & Rawls 2006 Table 3, sandy loam (from memory): FC .18, Ks 50 mm/h.
    assert block.field_capacity == pytest.approx(0.18, abs=0.005)
    assert block.saturated_conductivity_mm_per_h == pytest.approx(50.0, abs=1.0)
    block = block_with(
        'soil = { field_capacity = "30 %", wilting_point = 0.14, conductivity = "0.6 in/h", '
        'grain = "fine" }',
        without="soil",
    )
    assert (block.field_capacity, block.wilting_point, block.texture_group) == (0.30, 0.14, 2.0)
    assert block.saturated_conductivity_mm_per_h == pytest.approx(15.24)
    assert block.origins["field_capacity"] == "given"


@pytest.mark.parametrize(
    ("mulch", "cover", "rain_pass"),
    [
        ('{ cover = 0.9, kind = "fabric" }', 0.9, 0.6),
        ('{ cover = "80 %", kind = "film" }', 0.8, 0.05),
        ('{ kind = "none" }', 0.0, 1.0),
        ("{ cover = 0.5, rain_pass = 0.3 }", 0.5, 0.3),
        ('{ cover = 0.5, kind = "film", rain_pass = 0.1 }', 0.5, 0.1),
    ],
)
def test_mulch_lets_rain_pass_by_its_kind(mulch: str, cover: float, rain_pass: float) -> None:
    block = block_with(f"mulch = {mulch}")
    assert (block.mulch_cover_fraction, block.mulch_rain_pass_fraction) == (cover, rain_pass)


@pytest.mark.parametrize(
    ("mulch", "kc_initial", "reduction"),
    [
        # FAO-56 p. 196 and 197 for Kc ini 0.30; drip that runs every day takes off most.
        ('{ cover = 0.9, kind = "film" }', 0.10, 0.30),
        ('{ cover = 0.9, kind = "fabric" }', 0.20, 0.15),
        ("{ cover = 0.5, rain_pass = 0.3 }", 0.20, 0.15),
        ('{ cover = 0.9, kind = "organic" }', 0.15, 0.0375),
        ('{ cover = 0.9, kind = "film", kc_initial = 0.2, kc_reduction = 0.1 }', 0.20, 0.10),
        ('{ kind = "none" }', 0.30, 0.0),
    ],
)
def test_mulch_takes_off_kc_by_its_kind(mulch: str, kc_initial: float, reduction: float) -> None:
    block = block_with(f"mulch = {mulch}")
    assert block.mulch_kc_initial == pytest.approx(kc_initial)
    assert block.mulch_kc_reduction_fraction == pytest.approx(reduction, abs=0.01)


def test_a_line_above_the_fabric_keeps_its_top_wet() -> None:
    block = block_with('mulch = { cover = 0.9, kind = "fabric", line = "above" }')
    assert (block.mulch_kc_initial, block.mulch_kc_reduction_fraction) == (block.kc_initial, 0.0)
    assert block.origins["mulch_kc_initial"].startswith("choice: a line above the mulch")
    assert block.mulch_rain_pass_fraction == 0.6


def test_a_line_above_film_is_refused() -> None:
    fault = only_fault_of(block_text('mulch = { cover = 0.9, kind = "film", line = "above" }'))
    assert fault.where.endswith("mulch.line")
    assert "film lets no water" in fault.allowed


@pytest.mark.parametrize(
    ("lines", "plants", "between_m"),
    [
        (1, 'spacing = "0.9 m"', 0.9),
        (2, 'spacing = "0.9 m", emitters = 1', 1.8),
        (2, 'spacing = "1.2 m", emitters = 4', 0.6),
    ],
    ids=["one emitter per plant", "on two lines", "two on either line"],
)
def test_emitters_may_be_counted_by_plants(lines: int, plants: str, between_m: float) -> None:
    block = block_with(
        f"laterals_per_row = {lines}\nplants = {{ {plants} }}", without="emitter_spacing"
    )
    assert block.emitter_spacing_m == pytest.approx(between_m)
    assert "for each plant" in block.origins["emitter_spacing_m"]


def test_emitters_are_counted_in_one_way() -> None:
    fault = only_fault_of(block_text('plants = { spacing = "3 ft" }'))
    assert (fault.where.endswith("emitter_spacing"), fault.allowed) == (
        True,
        "either emitter_spacing or plants",
    )
    assert "a length" in only_fault_of(block_text(without="emitter_spacing")).allowed


@pytest.mark.parametrize("texture", ["pine bark", "peat mix", "organic sand"])
def test_bark_and_peat_leave_p_as_it_is_printed(texture: str) -> None:
    block = block_with(f'soil = {{ texture = "{texture}" }}', without="soil")
    assert block.depletion_fraction == 0.5
    assert block.origins["depletion_fraction"].endswith("the same on bark, peat and organic soil")
    assert block.texture_key == texture.replace(" ", "-")


def test_film_takes_less_off_where_the_soil_holds_water_for_days() -> None:
    block = block_with(
        'mulch = { cover = 1, kind = "film" }\nroot_depth = "1.4 m"\nwetted_fraction = 0.6',
    )
    # Each day fewer than a week between waterings takes another 0.025 off.
    held_mm = 1000.0 * (block.field_capacity - block.wilting_point) * 1.4 * 0.6
    days = 0.7 * block.depletion_fraction * held_mm / (5.0 * block.kc_mid)
    assert 3.0 < days < 9.0
    assert block.mulch_kc_reduction_fraction == pytest.approx(0.325 - 0.025 * days)
    origin = block.origins["mulch_kc_reduction_fraction"]
    assert origin == f"FAO-56 (1998) p. 196, plastic film watered every {days:.1f} days"


def test_film_on_the_strip_does_not_take_the_leaves_of_an_evergreen() -> None:
    block = block_with(
        'crop = "citrus-50-bare"\nmulch = { cover = 1, kind = "film" }', without="crop"
    )
    assert block.mulch_kc_initial == pytest.approx(0.65 * (1.0 - block.mulch_kc_reduction_fraction))


@pytest.mark.parametrize(
    ("texture", "p"), [("sand", 0.5375), ("sandy loam", 0.50), ("silty clay", 0.4625)]
)
def test_roots_take_more_from_coarse_soil_and_less_from_fine(texture: str, p: float) -> None:
    # FAO-56 p. 167: 5 to 10 % of p; the middle.
    block = block_with(f'soil = {{ texture = "{texture}" }}', without="soil")
    assert block.depletion_fraction == pytest.approx(p)
    words = {"sand": "more on coarse", "silty clay": "less on fine"}.get(texture, "Berries")
    assert words in block.origins["depletion_fraction"]
    own = block_with(
        f'soil = {{ texture = "{texture}" }}\ndepletion_fraction = 0.6', without="soil"
    )
    assert own.depletion_fraction == 0.6


@pytest.mark.parametrize(("rhmin_pct", "added"), [(50, 0.1), (45, 0.1), (44, 0.0), (None, 0.0)])
def test_citrus_uses_more_in_a_humid_climate(rhmin_pct: int | None, added: float) -> None:
    # FAO-56 Table 12, footnotes 21 and 22: 0.1 to 0.2 more; the lower end.
    normals = f"normals = {{ rhmin_pct = {[rhmin_pct] * 12} }}\n" if rhmin_pct is not None else ""
    head = HEAD.replace('elevation = "500 ft"\n', f'elevation = "500 ft"\n{normals}')
    block = block_with('crop = "citrus-50-bare"', without="crop", head=head)
    assert [block.kc_initial, block.kc_mid, block.kc_end, block.kc_off_season] == pytest.approx(
        [0.65 + added, 0.60 + added, 0.65 + added, 0.65 + added]
    )
    assert ("added for a humid climate" in block.origins["kc_mid"]) == (added > 0.0)
    assert block_with(head=head).kc_mid == 1.05


def test_a_small_canopy_counts_as_its_crop_says() -> None:
    assert block_with('crop = "apple-bare-frost"', without="crop").canopy_density_factor == 2.0
    assert block_with('crop = "peach-bare-frost"', without="crop").canopy_density_factor == 1.5
    assert block_with("kc = { density_factor = 1.7 }").canopy_density_factor == 1.7


def test_a_season_comes_in_days_in_degree_days_or_as_an_own_table() -> None:
    block = block_with(
        'season = { start = "01-01", floor = "50 degF", degree_days = '
        '["180 degF day", "900 degF day", "2700 degF day", "3600 degF day"] }',
        without="season",
    )
    assert block.curve.basis == "degree-days"
    assert block.curve.stage_knots == (100.0, 500.0, 1500.0, 2000.0)
    assert block.curve.degree_day_floor_c == 10.0
    block = block_with('kc_table = [["03-15", 0.3], ["06-01", 1.0]]', without="season")
    assert block.curve.basis == "table"
    assert block.curve.points == ((3, 15, 0.3), (6, 1, 1.0))


def test_crops_with_published_stages_need_no_season() -> None:
    block = block_with('crop = "grape-wine"', without="crop season")
    # FAO-56 Table 11, wine grapes, mid latitudes: 30/60/40/80 from April.
    assert block.curve.season_start == (4, 1)
    assert block.curve.stage_knots == (30.0, 90.0, 130.0, 210.0)
    assert "Table 11" in block.origins["curve"]


def test_published_seasons_move_by_six_months_in_the_south() -> None:
    south = (
        HEAD.replace("America/New_York", "Pacific/Auckland")
        .replace("latitude = 35.9", "latitude = -39.6")
        .replace("longitude = -79.2", "longitude = 176.8")
    )
    block = block_with('crop = "grape-wine"', without="crop season", head=south)
    assert block.curve.season_start == (10, 1)
    assert "southern hemisphere" in block.origins["curve"]


def test_bare_dates_of_a_no_water_period_hold_from_first_to_last_day() -> None:
    block = block_with(
        "no_water = [{ from = 2026-06-20, to = 2026-06-24, reason = 'harvest' }, "
        "{ from = '2026-07-01 06:00', to = 2026-07-01T14:00:00 }]"
    )
    whole, part = block.no_water
    assert (whole.starts_local, whole.ends_local) == (
        datetime.fromisoformat("2026-06-20"),
        datetime.fromisoformat("2026-06-25"),
    )
    assert (part.starts_local, part.ends_local) == (
        datetime.fromisoformat("2026-07-01T06:00"),
        datetime.fromisoformat("2026-07-01T14:00"),
    )


def test_windows_are_sorted_and_joined_where_they_touch() -> None:
    block = block_with('windows = ["17:00-21:00", "06:00-08:00", "04:00-06:00"]')
    assert block.windows == (WallWindow(240, 480), WallWindow(1020, 1260))
    assert block_with("balance_start = '2026-04-01'").balance_start == date(2026, 4, 1)


HAND = '[block.hand]\nvisits = ["18:00-20:00", "07:00-07:30"]'


def test_a_valve_turned_by_hand_has_one_pulse_for_each_visit_unless_the_file_says_so() -> None:
    (block,) = parse(block_text(HAND)).blocks
    assert block.visits == (WallWindow(420, 450), WallWindow(1080, 1200))
    assert block.daily_pulse_count == 2.0
    assert block.origins["daily_pulse_count"] == "choice: one pulse for each visit"
    (own,) = parse(block_text(f"max_pulses_per_day = 3\n{HAND}")).blocks
    assert (own.daily_pulse_count, own.origins["daily_pulse_count"]) == (3.0, "given")


def test_a_block_has_either_a_timer_or_a_valve_turned_by_hand() -> None:
    fault = only_fault_of(block_text(f'[block.timer]\nstarts = 2\nset_on = "friday"\n{HAND}'))
    assert fault.where.endswith("hand")
    assert "either [block.hand] or [block.timer]" in fault.allowed


def test_a_valve_turned_by_hand_needs_its_visits() -> None:
    assert only_fault_of(block_text("[block.hand]")).where.endswith("hand.visits")


def test_a_file_may_hold_sites_and_counties_alone() -> None:
    bundle = parse(
        """
        [[site]]
        id = "a"
        zone = "America/New_York"
        latitude = 36
        longitude = -80
        elevation = "200 m"
        normals = { et0_mm = [1,1,2,3,4,5,5,4,3,2,1,1] }
        [[county]]
        code = "X01"
        name = "Invented County"
        site = "a"
        """
    )
    assert bundle.farm is None
    assert bundle.counties[0].site_id == "a"
    normals = bundle.sites[0].normals
    assert normals is not None
    assert normals.et0_mm is not None
    assert normals.et0_mm[5] == 5.0
    assert normals.u2_m_s is None


def test_blocks_with_the_same_season_share_one_curve() -> None:
    bundle = parse(block_text() + BLOCK.replace('"north"', '"south"'))
    assert bundle.blocks[0].curve is bundle.blocks[1].curve


def test_a_byte_order_mark_and_windows_newlines_are_let_pass(tmp_path: Path) -> None:
    path = tmp_path / "farm.toml"
    path.write_bytes(b"\xef\xbb\xbf" + block_text().replace("\n", "\r\n").encode())
    assert_same(read_farm_file(path), parse(block_text()))


# --- files that are refused as a whole -----------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "where", "found"),
    [
        (b"", "farm.toml", "a file without any table"),
        (b"# nothing\n", "farm.toml", "a file without any table"),
        (b"\xff\xfe[\x00", "farm.toml", "text in UTF-16"),
        ('[farm]\nname = "Höhe"\n'.encode("latin-1"), "farm.toml: line 2", "byte 0xf6, not UTF-8"),
        (b"#" * 5_000_001, "farm.toml", "more than 5,000,000 bytes"),
        (b"[farm]\nid = hill\n", "farm.toml: line 2, column 6", "Invalid value"),
        (b"[farm\n", "farm.toml: line 1, column 6", "Expected"),
        (b'[farm]\nid = "a"\nid = "b"\n', "farm.toml: line 3, column 9", "overwrite"),
        (b'[farm]\nid = "a', "farm.toml: end of document", "Unterminated"),
        (b"a = " + b"[" * 5000, "farm.toml", "nested too deep"),
        (b"a = " + b"9" * 5000, "farm.toml", "4300 digits"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_bad_farm_file_is_refused_with_the_place(
    content: bytes, where: str, found: str, tmp_path: Path
) -> None:
    path = tmp_path / "farm.toml"
    path.write_bytes(content)
    with pytest.raises(FarmFileInvalid) as caught:
        read_farm_file(path)
    (fault,) = caught.value.faults
    assert fault.where == where
    assert found in fault.found
    assert "TOML" in fault.allowed


def test_a_file_that_cannot_be_opened_is_named(tmp_path: Path) -> None:
    with pytest.raises(FarmFileInvalid, match=r"gone\.toml.*No such file"):
        read_farm_file(tmp_path / "gone.toml")
    with pytest.raises(FarmFileInvalid, match="directory"):
        read_farm_file(tmp_path)


# --- keys that are refused -----------------------------------------------------------------------

NORTH = "farm.toml: block[1] 'north' "


@pytest.mark.parametrize(
    ("extra", "without", "where", "found", "allowed"),
    [
        ('row_spacing = "10 gal"', "row_spacing", "row_spacing", "'10 gal'", "0.6562 to 98.42 ft"),
        ("row_spacing = 10", "row_spacing", "row_spacing", "10", "with its unit"),
        ('row_spacing = "3,5 m"', "row_spacing", "row_spacing", "'3,5 m'", "no comma"),
        ("row_spacing = nan", "row_spacing", "row_spacing", "nan", "a length"),
        ("", "row_spacing", "row_spacing", "nothing", "a length such as '10 ft' or '3 m'"),
        ('emitter_flow = "0 L/h"', "emitter_flow", "emitter_flow", "'0 L/h'", "0.1 to 100 L/h"),
        ('rowspacing = "10 ft"', "", "rowspacing", "a key of that name", "'row_spacing'"),
        ('crop = "blubery"', "crop", "crop", "'blubery'", "did you mean blueberry"),
        ('crop = "apple"', "crop", "crop", "'apple'", "apple-bare-frost"),
        ("crop = 7", "crop", "crop", "7", "blueberry"),
        ('supply = "wells"', "", "supply", "'wells'", "'well'"),
        ('site = "hom"', "", "site", "'hom'", "'home'"),
        ("emission_uniformity = 85", "", "emission_uniformity", "85", "'85 %' or 0.85"),
        ("trigger = true", "", "trigger", "True", "0.05 to 1"),
        ("planting_year = 2021.5", "", "planting_year", "2021.5", "a whole year"),
        ('planting_year = "2021"\nname = ""', "", "name", "''", "1 to 120 characters"),
        ('name = "a\\nb"', "", "name", "'a\\nb'", "one line"),
        ("", "soil", "soil", "nothing", "texture"),
        ('soil = { texture = "sandy lome" }', "soil", "soil.texture", "'sandy lome'", "sandy-loam"),
        ("soil = { }", "soil", "soil", "{}", "one of { texture"),
        ('soil = "loam"', "soil", "soil", "'loam'", "a table"),
        ('soil = { texture = "loam", sand = 0.4 }', "soil", "soil", "{'texture'", "one of {"),
        ("soil = { sand = 40, clay = 0.2 }", "soil", "soil.sand", "40", "0 to 1"),
        ("soil = { sand = 0.6, clay = 0.5 }", "soil", "soil.sand", "sand + clay", "at most 1"),
        ('soil = { texture = "loam", ph = 5 }', "soil", "soil.ph", "a key of that", "texture"),
        (
            "soil = { field_capacity = 0.1, wilting_point = 0.2, conductivity = '9 mm/h', "
            "grain = 'fine' }",
            "soil",
            "soil.field_capacity",
            "0.1",
            "more than the wilting point, 0.2",
        ),
        ('mulch = { kind = "straw", cover = 1 }', "", "mulch.kind", "'straw'", "fabric, film"),
        ('mulch = { kind = "film" }', "", "mulch.cover", "nothing", "0 to 1"),
        (
            'mulch = { kind = "none", cover = 0.5 }',
            "",
            "mulch.kind",
            "'none'",
            "fabric, film or organic",
        ),
        ("", "season", "season", "nothing", "no stage dates are published for blueberry"),
        ('season = { start = "02-29" }', "season", "season.start", "'02-29'", "without 02-29"),
        (
            'season = { start = "03-20", lengths = [25, 45, 110] }',
            "season",
            "season.lengths",
            "[25, 45, 110]",
            "a list of 4",
        ),
        (
            'season = { start = "03-20", lengths = [25, 45, 210, 100] }',
            "season",
            "season.lengths",
            "[25, 45, 210, 100]",
            "at most 365 in sum",
        ),
        (
            "season = { start = '01-01', floor = '10 degC', degree_days = [100, 200, 300, 400] }",
            "season",
            "season.degree_days[1]",
            "100",
            "with its unit",
        ),
        ('kc_table = [["03-15", 0.3]]', "season", "kc_table", "[['03-15', 0.3]]", "2 to 120 pairs"),
        (
            'kc_table = [["06-15", 0.3], ["03-15", 1]]',
            "season",
            "kc_table",
            "[['06-15', 0.3], ['03-15', 1]]",
            "days rising",
        ),
        (
            'kc_table = [["06-15", 0.3], ["07-15", 5]]',
            "season",
            "kc_table[2]",
            "5",
            "0 to 1.5",
        ),
        ('kc_table = [["03-15", 0.3], ["06-15", 1]]', "", "season.lengths", "[25", "not both"),
        ('windows = ["21:00-04:00"]', "", "windows[1]", "'21:00-04:00'", "'00:00-04:00', '21:00-2"),
        ('windows = ["21:00-00:00"]', "", "windows[1]", "'21:00-00:00'", "'21:00-24:00'"),
        ('windows = ["4-9"]', "", "windows[1]", "'4-9'", "'04:00-21:00'"),
        ('windows = ["04:00-25:00"]', "", "windows[1]", "'04:00-25:00'", "'24:00'"),
        ("windows = []", "", "windows", "[]", "1 to 12"),
        ('windows = ["04:00-08:00", "07:00-09:00"]', "", "windows", "['04:00", "do not overlap"),
        ('windows = ["04:00-04:09"]', "", "windows", "04:00-04:09, 9 min", "at least 10 min"),
        ('windows = ["21:00-24:00"]', "", "windows", "21:00-24:00, 0 min", "at least 10 min"),
        (
            'windows = ["04:00-04:14"]\nfill_time = "5 min"',
            "",
            "windows",
            "04:00-04:14, 14 min",
            "at least 15 min, the shortest pulse",
        ),
        (
            'longest_pulse = "20 min"\nfill_time = "10 min"',
            "",
            "longest_pulse",
            "20 min",
            "at least 30 min",
        ),
        ('area = "5 ac"', "area", "supply", "121.0 gpm", "the flow of supply 'well', 60.0 gpm"),
        ("trigger = 0.3", "", "rain_room", "0.3", "less than trigger, 0.3"),
        (
            "no_water = [{ from = 2026-06-24, to = 2026-06-20 }]",
            "",
            "no_water[1] to",
            "2026-06-20",
            "later than 2026-06-24 00:00:00",
        ),
        (
            "no_water = [{ from = 2026-06-24T06:00:00Z, to = 2026-06-30 }]",
            "",
            "no_water[1] from",
            "2026-06-24T06:00:00+00:00",
            "without an offset",
        ),
        ("no_water = [{ from = 2026-06-24 }]", "", "no_water[1] to", "nothing", "2026-06-01"),
        ("balance_start = 2026-04-01T05:00:00", "", "balance_start", "2026-04-01T05", "a date"),
        ("kc = { middle = 1 }", "", "kc.middle", "a key of that name", "mid"),
    ],
)
def test_a_bad_key_of_a_block_is_refused_with_place_value_and_what_is_allowed(
    extra: str, without: str, where: str, found: str, allowed: str
) -> None:
    fault, *others = faults_of(block_text(extra, without=without))
    assert fault.where == NORTH + where
    assert found in fault.found
    assert allowed in fault.allowed
    assert [other.where for other in others if "degree_days" not in other.where] == []


def test_a_farm_in_metric_units_reads_what_is_allowed_in_them() -> None:
    def metric(text: str) -> str:
        return text.replace("[farm]", '[farm]\nunit_system = "si"', 1)

    (fault,) = faults_of(metric(block_text("row_spacing = 10", without="row_spacing")))
    assert fault.allowed.endswith(" 0.2 to 30 m")
    (fault,) = faults_of(metric(block_text('area = "5 ac"', without="area")))
    assert "27,482 L/h" in fault.found
    assert "the flow of supply 'well', 13,627 L/h" in fault.allowed


@pytest.mark.parametrize(
    ("old", "new", "where", "found", "allowed"),
    [
        ('id = "hill"', 'id = "Hill Farm"', "farm.id", "'Hill Farm'", "small letters"),
        ('id = "hill"', 'id = "-hill"', "farm.id", "'-hill'", "small letters"),
        ("America/New_York", "America/NewYork", "farm.zone", "'America/NewYork'", "New_York"),
        ("America/New_York", "EST", "farm.zone", "'EST'", "an IANA zone name"),
        ("latitude = 35.9", "latitude = 95", "site[1] 'home' latitude", "95", "-90 to 90"),
        ("latitude = 35.9", "latitude = 0.6266", "site[1] 'home' latitude", "0.6266", "radians"),
        ("latitude = 35.9", "latitude = -35.9", "site[1] 'home' latitude", "-35.9", "do not agree"),
        (
            "longitude = -79.2",
            "longitude = 79.2",
            "site[1] 'home' longitude",
            "79.2",
            "9.3 h off the clock",
        ),
        ("latitude = 35.9", "", "site[1] 'home' latitude", "nothing", "north positive"),
        ('elevation = "500 ft"', "elevation = 500", "site[1] 'home' elevation", "500", "unit"),
        ('flow = "60 gpm"', 'flow = "0 gpm"', "supply[1] 'well' flow", "'0 gpm'", "0.04403 to"),
        (
            'flow = "60 gpm"',
            'flow = "60 gpm"\nwindows = ["9"]',
            "supply[1] 'well' windows[1]",
            "'9'",
            "spans",
        ),
        ("[farm]", '[farm]\nunit_system = "uk"', "farm.unit_system", "'uk'", "us, si"),
        ("[farm]", '[farm]\nissue_time = "24:00"', "farm.issue_time", "'24:00'", "23:59"),
        ("[farm]", "[farms]\n[farm]", "farms", "a key of that name", "'farm'"),
        ("[[site]]", "[site]", "site", "no list of tables", "[[site]]"),
    ],
)
def test_a_bad_key_of_the_farm_is_refused_with_place_value_and_what_is_allowed(
    old: str, new: str, where: str, found: str, allowed: str
) -> None:
    faults = faults_of(block_text().replace(old, new))
    (fault,) = [fault for fault in faults if fault.where == f"farm.toml: {where}"]
    assert found in fault.found
    assert allowed in fault.allowed


def test_a_bad_zone_is_one_fault_however_many_sites_inherit_it() -> None:
    fault = only_fault_of(block_text().replace("America/New_York", "America/New_york"))
    assert fault.where == "farm.toml: farm.zone"
    assert "did you mean 'America/New_York'" in fault.allowed


def test_a_site_must_share_the_clock_of_its_farm() -> None:
    head = HEAD.replace('id = "home"', 'id = "home"\nzone = "America/Chicago"')
    fault = only_fault_of(block_text(head=head))
    assert fault.where == NORTH + "site"
    assert "America/New_York" in fault.allowed


def test_a_default_worked_out_from_odd_numbers_is_checked_too() -> None:
    fault = only_fault_of(
        block_text(
            'emitter_flow = "0.5 L/h"\nemitter_spacing = "15 m"\nrow_spacing = "30 m"\n'
            'soil = { texture = "sand" }',
            without="emitter_flow emitter_spacing row_spacing soil",
        )
    )
    assert fault.where == NORTH + "wetted_fraction"
    assert "by default" in fault.found


def test_radians_near_the_equator_are_not_taken_for_a_mistake() -> None:
    head = (
        HEAD.replace("America/New_York", "Africa/Nairobi")
        .replace("latitude = 35.9", "latitude = -1.3")
        .replace("longitude = -79.2", "longitude = 36.8")
    )
    assert parse(block_text(head=head)).sites[0].latitude_deg == -1.3


def test_zones_far_from_their_meridian_are_let_pass() -> None:
    # Kashgar keeps Beijing time at 76 E, and Apia lives across the date line from its meridian.
    for zone, latitude, longitude in (
        ("Asia/Shanghai", 39.5, 76.0),
        ("Pacific/Apia", -13.8, -171.8),
        ("US/Eastern", 35.9, -79.2),
        ("America/Punta_Arenas", -53.2, -70.9),
    ):
        head = (
            HEAD.replace("America/New_York", zone)
            .replace("latitude = 35.9", f"latitude = {latitude}")
            .replace("longitude = -79.2", f"longitude = {longitude}")
        )
        assert parse(block_text(head=head)).sites[0].zone == zone


def test_duplicates_name_both_places() -> None:
    fault = only_fault_of(block_text() + BLOCK)
    assert fault.where == "farm.toml: block[2] 'north' id"
    assert "block[1] 'north' id has this one" in fault.allowed
    second_site = HEAD[HEAD.index("[[site]]") : HEAD.index("[[supply]]")]
    fault = only_fault_of(block_text() + second_site)
    assert fault.where == "farm.toml: site[2] 'home' id"


def test_with_two_supplies_a_block_must_name_its_own() -> None:
    fault = only_fault_of(block_text() + '[[supply]]\nid = "pond"\nflow = "60 gpm"\n')
    assert (fault.where, fault.found) == (NORTH + "supply", "nothing")
    assert "well, pond" in fault.allowed


def test_blocks_without_a_farm_are_refused() -> None:
    head = HEAD[HEAD.index("[[site]]") :].replace(
        'id = "home"', 'id = "home"\nzone = "America/New_York"'
    )
    assert [fault.where for fault in faults_of(block_text(head=head))] == [
        "farm.toml: supply",
        "farm.toml: block",
    ]


def test_all_faults_are_reported_at_once() -> None:
    text = block_text('trigger = 7\ncolour = "blue"', without="crop area").replace(
        'elevation = "500 ft"', 'elevation = "500"'
    )
    places = [fault.where.removeprefix("farm.toml: ") for fault in faults_of(text)]
    assert places == [
        "site[1] 'home' elevation",
        "block[1] 'north' crop",
        "block[1] 'north' area",
        "block[1] 'north' trigger",
        "block[1] 'north' colour",
    ]


def test_a_thousand_blocks_are_read() -> None:
    blocks = "".join(BLOCK.replace('"north"', f'"b{number}"') for number in range(1000))
    assert len(parse(HEAD + blocks).blocks) == 1000


# --- export --------------------------------------------------------------------------------------


def test_an_export_reads_back_equal() -> None:
    bundle = read_farm_file(TEMPLATE)
    written = write_farm_file(bundle)
    assert_same(parse(written), bundle)
    assert write_farm_file(parse(written)) == written


def test_a_blocks_own_last_day_for_nitrogen_is_kept_and_none_is_written_for_a_default() -> None:
    bundle = parse(block_text('last_nitrogen = "09-15"'))
    (block,) = bundle.blocks
    assert (block.last_nitrogen_doy, block.origins["last_nitrogen_doy"]) == (258.0, "given")
    assert 'last_nitrogen = "09-15"' in write_farm_file(bundle)
    assert "last_nitrogen" not in write_farm_file(parse(block_text()))
    assert "last_nitrogen" in str(faults_of(block_text('last_nitrogen = "02-30"')))


def test_an_export_states_every_number_so_that_later_defaults_do_not_matter() -> None:
    bundle = parse(block_text())
    (written,) = tomllib.loads(write_farm_file(bundle))["block"]
    assert written["trigger"] == 0.7
    assert written["root_depth"] == "0.6 m"
    assert written["soil"]["grain"] == "medium"
    assert "curve_number" not in written
    assert "FAO-56" in written["origins"]["kc_mid"]
    assert "area_m2" not in written["origins"]


def _length(lowest: float, highest: float) -> st.SearchStrategy[str]:
    return st.one_of(
        st.floats(lowest, highest).map(lambda number: f"{number!r} m"),
        st.floats(lowest, highest).map(lambda number: f"{number / 0.31!r} ft"),
    )


_TEXT = st.text(
    st.characters(categories=["L", "N", "P", "S"], include_characters=" "), min_size=1, max_size=30
).filter(lambda text: bool(text.strip()))


@st.composite
def _block_texts(draw: st.DrawFn, name: str) -> str:
    quoted = draw(_TEXT).replace("\\", "\\\\").replace('"', '\\"')
    optional = {
        "laterals_per_row": st.integers(1, 3).map(str),
        "emission_uniformity": st.floats(40, 100).map(lambda number: f'"{number!r} %"'),
        "fill_time": st.floats(0, 5).map(lambda number: f'"{number!r} min"'),
        "off_ratio": st.floats(0, 10).map(repr),
        "valve_gap": st.integers(0, 90).map(lambda number: f'"{number} s"'),
        "root_depth": _length(0.1, 1.5).map(lambda text: f'"{text}"'),
        "canopy_cover": st.floats(0.01, 1).map(repr),
        "root_share_of_wetted": st.floats(0.05, 1).map(repr),
        "wetted_fraction": st.floats(0.01, 1).map(repr),
        "planting_year": st.integers(1950, 2030).map(str),
        "curve_number": st.floats(30, 100).map(repr),
        "initial_depletion": st.floats(0, 30).map(lambda number: f'"{number!r} mm"'),
        "kc": st.floats(0, 1.5).map(lambda number: f"{{ mid = {number!r} }}"),
        "mulch": st.sampled_from(
            ['{ cover = 0.7, kind = "film" }', "{ cover = 1, rain_pass = 1 }"]
        ),
        "windows": st.sampled_from(['["00:00-24:00"]', '["05:00-09:30", "20:00-21:00"]']),
        "balance_start": st.dates(date(2020, 1, 1), date(2030, 1, 1)).map(str),
        "no_water": st.just("[{ from = 2026-05-01, to = 2026-05-02T07:30:00, reason = 'x\"y' }]"),
    }
    season = draw(
        st.sampled_from(
            [
                'season = { start = "02-28", lengths = [1, 2, 3, 4] }',
                'kc_table = [["01-01", 0.25], ["12-31", 1.1]]',
                'season = { start = "01-15", floor = "41 degF", degree_days = '
                '["101 degF day", "300 degC day", "1234.5 degF day", "3333 degC day"] }',
            ]
        )
    )
    soil = draw(
        st.sampled_from(
            [
                '{ texture = "loamy sand" }',
                "{ sand = 0.33, clay = 0.21 }",
                "{ field_capacity = 0.31, wilting_point = 0.17, conductivity = '0.7 in/h', "
                "grain = 'fine' }",
            ]
        )
    )
    chosen = draw(st.sets(st.sampled_from(sorted(optional))))
    lines = [
        "[[block]]",
        f'id = "{name}"',
        f'name = "{quoted}"',
        f'crop = "{draw(st.sampled_from(sorted(CROPS)))}"',
        f'area = "{draw(st.floats(10, 400))!r} m2"',
        f'row_spacing = "{draw(_length(1.0, 9.0))}"',
        f'emitter_spacing = "{draw(_length(0.2, 1.0))}"',
        f'emitter_flow = "{draw(st.floats(0.5, 2))!r} L/h"',
        f"soil = {soil}",
        season,
        *(f"{key} = {draw(optional[key])}" for key in sorted(chosen)),
    ]
    return "\n".join(lines)


@given(first=_block_texts("a"), second=_block_texts("b-2"))
def test_any_farm_survives_export_and_reading_back(first: str, second: str) -> None:
    bundle = parse(f"{HEAD}\n{first}\n{second}\n")
    assert_same(parse(write_farm_file(bundle)), bundle)


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_with_faults(text: str) -> None:
    try:
        parse(text)
    except FarmFileInvalid as error:
        assert error.faults


_VALUES = st.recursive(
    st.one_of(
        st.none().map(lambda _: '""'),
        st.integers(-5, 5000).map(str),
        st.floats().map(repr),
        st.booleans().map(lambda truth: str(truth).lower()),
        st.dates().map(str),
        st.times().map(lambda moment: moment.isoformat()[:8]),
        st.sampled_from(['"10 ft"', '"well"', '"loam"', '"04:00-05:00"', '"03-20"']),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4).map(lambda items: f"[{', '.join(items)}]"),
        st.dictionaries(st.sampled_from(["start", "from", "kind", "sand"]), inner, max_size=3).map(
            lambda table: "{" + ", ".join(f"{key} = {value}" for key, value in table.items()) + "}"
        ),
    ),
    max_leaves=6,
)
_KEYS = [
    *("id", "name", "supply", "site", "crop", "planting_year", "area", "row_spacing", "trigger"),
    *("lateral_gap", "soil", "root_depth", "mulch", "windows", "no_water", "season", "kc_table"),
    *("kc", "balance_start", "origins"),
]


@given(key=st.sampled_from(_KEYS), value=_VALUES)
def test_a_value_of_the_wrong_kind_is_a_fault_and_never_a_crash(key: str, value: str) -> None:
    try:
        parse(block_text(f"{key} = {value}", without=key))
    except FarmFileInvalid as error:
        assert error.faults
        assert all(fault.where.startswith("farm.toml") for fault in error.faults)
