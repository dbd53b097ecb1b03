"""Fertilisers: what a formula holds, what dissolves, what must not meet, and that mass is kept."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.waterworks.caution import CHEMIGATION_CAUTIONS
from service.waterworks.fertiliser import (
    NUTRIENTS,
    PRODUCTS,
    Product,
    StockSolution,
    ec_rise_ds_m,
    inject,
    labelled_product,
    mixing_conflicts,
    nitrate_caution,
    product_mass_kg,
    solubility_limit_g_per_l,
    stock_solution,
)

SALTS = sorted(key for key, product in PRODUCTS.items() if product.density_kg_per_l is None)


def tank_of(key: str, mass_kg: float, volume_l: float = 200.0) -> StockSolution:
    return stock_solution([(PRODUCTS[key], mass_kg)], volume_l, 20.0)


@pytest.mark.parametrize("key", sorted(PRODUCTS))
def test_a_product_holds_no_more_than_itself(key: str) -> None:
    product = PRODUCTS[key]
    total = product.chloride_fraction + sum(
        float(getattr(product, f"{nutrient}_fraction")) for nutrient in NUTRIENTS
    )
    assert 0.0 < total <= 1.0 + 1e-12


@pytest.mark.parametrize("key", sorted(PRODUCTS))
def test_every_product_says_where_its_numbers_come_from(key: str) -> None:
    assert PRODUCTS[key].source


@pytest.mark.parametrize("key", SALTS)
def test_every_salt_dissolves_better_in_warmer_water(key: str) -> None:
    limits = [solubility_limit_g_per_l(PRODUCTS[key], at_c) for at_c in (0.0, 10.0, 20.0, 30.0)]
    known = [limit for limit in limits if limit is not None]
    assert len(known) == 4
    assert known == sorted(known) and known[0] < known[3] < 1000.0


@given(at_c=st.floats(0.0, 60.0), key=st.sampled_from(SALTS))
def test_the_limit_of_a_stock_solution_is_met_exactly(at_c: float, key: str) -> None:
    product = PRODUCTS[key]
    limit = solubility_limit_g_per_l(product, at_c)
    assert limit is not None
    full = stock_solution([(product, limit / 10.0)], 100.0, at_c)
    assert full.saturation_share == pytest.approx(1.0)
    with pytest.raises(InputInvalid, match="does not stay clear"):
        stock_solution([(product, limit / 10.0 * 1.001)], 100.0, at_c)


def test_a_product_above_its_solubility_is_refused_with_the_limit_and_the_temperature() -> None:
    with pytest.raises(InputInvalid, match=r"potassium-sulfate.*150 g/L.*up to 85 g/L at 10 °C"):
        stock_solution([(PRODUCTS["potassium-sulfate"], 30.0)], 200.0, 10.0)


def test_two_salts_share_the_room_to_dissolve() -> None:
    each = [(PRODUCTS[key], 25.0) for key in ("potassium-nitrate", "urea")]
    alone = [stock_solution([one], 200.0, 15.0).saturation_share for one in each]
    together = stock_solution(each, 200.0, 15.0).saturation_share
    assert alone[0] is not None and alone[1] is not None
    assert together == pytest.approx(alone[0] + alone[1])
    with pytest.raises(InputInvalid, match="the products together"):
        stock_solution([(product, 1.2 * kg) for product, kg in each], 200.0, 15.0)


def test_below_the_table_the_solubility_is_not_known() -> None:
    with pytest.raises(InputInvalid, match="0 °C or warmer"):
        stock_solution([(PRODUCTS["urea"], 1.0)], 100.0, -2.0)


def test_a_label_without_solubility_is_let_pass_and_said() -> None:
    own = labelled_product("own", "Own 20-20-20", ammonium_nitrogen_pct=20.0, p2o5_pct=20.0)
    tank = stock_solution([(own, 20.0)], 100.0, 15.0)
    assert tank.saturation_share is None
    assert [each.key for each in tank.advisories] == ["solubility-unknown"]


def test_more_liquid_than_the_tank_holds_is_refused() -> None:
    with pytest.raises(InputInvalid, match=r"liquid products.*75\.2 L.*50 L"):
        stock_solution([(PRODUCTS["uan-32"], 100.0)], 50.0, 15.0)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("calcium-nitrate", "ammonium-sulfate"),
        ("calcium-nitrate", "potassium-sulfate"),
        ("magnesium-sulfate", "calcium-nitrate"),
        ("calcium-nitrate-tetrahydrate", "map"),
        ("mkp", "calcium-nitrate"),
    ],
)
def test_calcium_with_sulfate_or_phosphate_is_refused_in_one_tank(first: str, second: str) -> None:
    pair = [(PRODUCTS[first], 5.0), (PRODUCTS[second], 5.0)]
    with pytest.raises(InputInvalid, match=f"{first} with {second}.*two tanks"):
        stock_solution(pair, 500.0, 20.0)


def test_magnesium_with_phosphate_is_a_caution() -> None:
    pair = [(PRODUCTS["magnesium-nitrate"], 5.0), (PRODUCTS["map"], 5.0)]
    tank = stock_solution(pair, 500.0, 20.0)
    assert [each.key for each in tank.advisories] == ["mixing"]


@given(
    keys=st.lists(st.sampled_from(sorted(PRODUCTS)), min_size=2, max_size=5, unique=True),
)
def test_conflicts_do_not_depend_on_the_order_of_the_products(keys: list[str]) -> None:
    shuffled = list(reversed(keys))

    def pairs(of: list[str]) -> set[tuple[frozenset[str], bool]]:
        return {
            (frozenset((each.first_key, each.second_key)), each.is_forbidden)
            for each in mixing_conflicts([PRODUCTS[key] for key in of])
        }

    assert pairs(keys) == pairs(shuffled)


def test_nitrates_and_urea_mix_freely() -> None:
    free = [PRODUCTS[key] for key in ("urea", "ammonium-nitrate", "potassium-nitrate")]
    assert mixing_conflicts(free) == ()


@given(
    mass=st.floats(0.5, 40.0),
    share=st.floats(0.01, 1.0),
    flow=st.floats(500.0, 200_000.0),
    minutes=st.floats(5.0, 240.0),
    key=st.sampled_from(["urea", "potassium-nitrate", "map", "uan-32", "calcium-nitrate"]),
)
def test_what_leaves_the_tank_arrives_in_the_water(
    mass: float, share: float, flow: float, minutes: float, key: str
) -> None:
    tank = tank_of(key, mass)
    going = inject(tank, 200.0 * share, flow_l_per_h=flow, duration_min=minutes)
    for nutrient in NUTRIENTS:
        planned = mass * share * float(getattr(PRODUCTS[key], f"{nutrient}_fraction"))
        arrived = going.nutrient_mg_per_l[nutrient] * flow * minutes / 60.0 * 1e-6
        assert arrived == pytest.approx(planned, rel=1e-9, abs=1e-12)
        assert going.nutrient_kg[nutrient] == pytest.approx(planned, rel=1e-9, abs=1e-12)
    assert going.injector_l_per_h * minutes / 60.0 == pytest.approx(200.0 * share)
    assert going.dilution_ratio * going.injector_l_per_h == pytest.approx(flow)


def test_urea_does_not_raise_the_conductivity_and_salts_do() -> None:
    urea = inject(tank_of("urea", 10.0), 20.0, flow_l_per_h=10_000.0, duration_min=60.0)
    assert urea.ec_rise_ds_m == 0.0
    salt = inject(tank_of("ammonium-sulfate", 10.0), 20.0, flow_l_per_h=10_000.0, duration_min=60.0)
    assert 0.1 < salt.ec_rise_ds_m < 0.3


@given(grams=st.floats(1.0, 300.0), more=st.floats(1.0, 200.0))
def test_more_salt_conducts_more_but_not_in_proportion(grams: float, more: float) -> None:
    little = ec_rise_ds_m({"potassium": grams})
    much = ec_rise_ds_m({"potassium": grams + more})
    assert little < much <= little * (grams + more) / grams


def test_a_salty_water_damps_what_fertiliser_adds() -> None:
    assert ec_rise_ds_m({"potassium": 100.0}, 2.0) < ec_rise_ds_m({"potassium": 100.0}, 0.2)
    assert ec_rise_ds_m({}) == 0.0


def test_phosphate_in_hard_water_is_warned_of_unless_it_is_sour() -> None:
    tank = tank_of("map", 10.0)

    def keys(calcium: float | None, ph: float | None) -> list[str]:
        going = inject(
            tank,
            20.0,
            flow_l_per_h=10_000.0,
            duration_min=60.0,
            water_calcium_meq_per_l=calcium,
            water_ph=ph,
        )
        return [each.key for each in going.advisories]

    assert keys(5.0, 7.8) == ["phosphate-in-hard-water"]
    assert keys(5.0, None) == ["phosphate-in-hard-water"]
    assert keys(5.0, 6.0) == keys(1.0, 7.8) == keys(None, 7.8) == []


def test_nitrate_is_cautioned_for_crops_that_want_ammonium_and_only_for_them() -> None:
    nitrate = [(PRODUCTS["calcium-nitrate"], 10.0)]
    ammonium = [(PRODUCTS["ammonium-sulfate"], 10.0)]
    caution = nitrate_caution(nitrate, is_ammonium_preferred=True)
    assert caution is not None and "92 %" in caution.text
    assert nitrate_caution(nitrate, is_ammonium_preferred=False) is None
    assert nitrate_caution(ammonium, is_ammonium_preferred=True) is None
    going = inject(
        tank_of("calcium-nitrate", 10.0),
        20.0,
        flow_l_per_h=10_000.0,
        duration_min=60.0,
        is_ammonium_preferred=True,
    )
    assert "nitrate-form" in [each.key for each in going.advisories]


def test_every_injection_carries_its_cautions() -> None:
    going = inject(tank_of("urea", 10.0), 20.0, flow_l_per_h=10_000.0, duration_min=60.0)
    assert going.cautions == CHEMIGATION_CAUTIONS
    caution = " ".join(each.text for each in going.cautions)
    assert "backflow prevention" in caution and "never an instruction to open" in caution


def test_every_fault_of_an_injection_is_listed() -> None:
    with pytest.raises(InputInvalid) as refusal:
        inject(
            tank_of("urea", 10.0),
            201.0,
            flow_l_per_h=0.0,
            duration_min=-1.0,
            water_ec_ds_m=800.0,
        )
    assert [fault.where for fault in refusal.value.faults] == [
        "stock_l",
        "flow_l_per_h",
        "duration_min",
        "water_ec_ds_m",
    ]


def test_labels_give_oxides_and_the_product_elements() -> None:
    mkp = labelled_product("label-mkp", "0-52-34", p2o5_pct=52.0, k2o_pct=34.6)
    # Pure KH2PO4 holds 22.8 % P and 28.7 % K, by formula.
    assert mkp.phosphorus_fraction == pytest.approx(PRODUCTS["mkp"].phosphorus_fraction, rel=0.01)
    assert mkp.potassium_fraction == pytest.approx(PRODUCTS["mkp"].potassium_fraction, rel=0.01)


@pytest.mark.parametrize(
    ("values", "fault"),
    [
        ({"urea_nitrogen_pct": 146.0}, "urea_nitrogen_pct"),
        ({"urea_nitrogen_pct": -1.0}, "urea_nitrogen_pct"),
        ({}, "the analysis together"),
        ({"p2o5_pct": 60.0, "k2o_pct": 60.0}, "the analysis together"),
        ({"urea_nitrogen_pct": 20.0, "density_kg_per_l": 1330.0}, "density_kg_per_l"),
    ],
)
def test_a_label_that_no_product_has_is_refused(values: dict[str, float], fault: str) -> None:
    with pytest.raises(InputInvalid) as refusal:
        labelled_product("own", "Own", **values)  # type: ignore[arg-type]  # numbers only
    assert [each.where for each in refusal.value.faults] == [fault]


def test_a_solubility_table_that_does_not_rise_is_refused() -> None:
    with pytest.raises(InputInvalid, match=r"solubility_g_per_kg\[1\]"):
        labelled_product(
            "own", "Own", k2o_pct=50.0, solubility_g_per_kg=((20.0, 100.0), (10.0, 90.0))
        )


def test_mass_of_a_product_follows_from_its_nutrient() -> None:
    assert product_mass_kg(PRODUCTS["urea"], "nitrogen", 46.65) == pytest.approx(100.0, abs=0.1)
    with pytest.raises(InputInvalid, match="no potassium"):
        product_mass_kg(PRODUCTS["urea"], "potassium", 1.0)
    with pytest.raises(InputInvalid, match="nutrient"):
        product_mass_kg(PRODUCTS["urea"], "gold", 1.0)
    with pytest.raises(InputInvalid, match="0 kg or more"):
        product_mass_kg(PRODUCTS["urea"], "nitrogen", -1.0)


def test_an_empty_tank_and_masses_of_nothing_are_refused() -> None:
    with pytest.raises(InputInvalid, match="at least one product"):
        stock_solution([], 100.0, 20.0)
    with pytest.raises(InputInvalid) as refusal:
        stock_solution([(Product(key="a", name="A"), 0.0)], 0.0, 20.0)
    assert [fault.where for fault in refusal.value.faults] == ["a", "volume_l"]


def test_a_label_may_name_micronutrients_and_no_other_element() -> None:
    blend = labelled_product(
        "blend", "Blend", k2o_pct=20.0, micronutrient_pct={"manganese": 0.5, "boron": 0.02}
    )
    assert (blend.manganese_fraction, blend.boron_fraction) == pytest.approx((0.005, 0.0002))
    with pytest.raises(InputInvalid) as refusal:
        labelled_product("blend", "Blend", micronutrient_pct={"manganese": 101.0, "gold": 1.0})
    assert {each.where for each in refusal.value.faults} == {"manganese", "gold"}
