"""The planner's passes, without a pixel."""

from finishing.engine.plan import (
    Apply,
    Convert,
    Plan,
    Table,
    cancel_pairs,
    choose_output,
    drop_neutral,
    fold_table,
    insert_conversions,
    plan,
    work_in_matrices,
)
from finishing.operation import Domain
from finishing.operations.catalogue import EdgeVignette, Exposure, HueIsolation, Saturation, ToneCurve, WhiteBalance
from finishing.recipes.recipe import Step
from finishing.regions.box import Box
from finishing.regions.ranges import LightnessRange

LIGHTER = Step(Exposure(stops=1))
CURVE = Step(ToneCurve(points=[(0, 0.1), (1, 0.9)]))
KEEP = Step(HueIsolation(keep=70))
EDGE = Step(EdgeVignette(strength=0.5))
LINEAR, ENCODED, OKLAB = Domain.LINEAR, Domain.ENCODED, Domain.OKLAB


def test_neutral_steps_are_dropped() -> None:
    nothing = Step(Exposure(stops=0))
    assert drop_neutral([nothing, CURVE, nothing]) == [CURVE]


def test_conversions_stand_round_each_step() -> None:
    assert insert_conversions([LIGHTER, CURVE], ENCODED) == [
        Apply(LIGHTER),
        Convert(LINEAR, ENCODED),
        Apply(CURVE),
        Convert(ENCODED, LINEAR),
        Convert(LINEAR, ENCODED),
    ]


def test_pairs_that_take_each_other_back_go() -> None:
    both = [Convert(LINEAR, OKLAB), Convert(OKLAB, LINEAR)]
    assert cancel_pairs([*both, *both]) == []
    assert cancel_pairs([Apply(EDGE), Convert(OKLAB, LINEAR), Convert(LINEAR, ENCODED)]) == [
        Apply(EDGE),
        Convert(OKLAB, LINEAR),
        Convert(LINEAR, ENCODED),
    ]


def test_leading_channel_steps_go_into_the_table() -> None:
    items = insert_conversions([LIGHTER, CURVE, KEEP, EDGE], LINEAR)
    for table in (Table.ALIKE, Table.LIMITED):
        assert fold_table(items, table) == Plan(tuple(items[:4]), tuple(items[4:]))
    assert fold_table(items, Table.NOTHING) == Plan((), tuple(items))


def test_one_curve_inside_a_place_goes_into_the_table_of_few_codes() -> None:
    box = Box(sides=(0.1, 0.1, 0.9, 0.9))
    inside = Step(CURVE.operation, where=box)
    items = insert_conversions([LIGHTER, inside, CURVE, inside, CURVE], LINEAR)

    def applied(table: Table) -> list[Step]:
        return [item.step for item in fold_table(items, table).table if isinstance(item, Apply)]

    assert applied(Table.LIMITED) == [LIGHTER, inside, CURVE]
    assert applied(Table.ALIKE) == [LIGHTER]
    by_colour = Apply(Step(CURVE.operation, where=LightnessRange(at_least=0.5)))
    a_matrix = Apply(Step(LIGHTER.operation, where=box))
    assert not fold_table([by_colour], Table.LIMITED).table
    assert not fold_table([a_matrix], Table.LIMITED).table


def test_the_whole_plan_keeps_the_order() -> None:
    steps = [KEEP, LIGHTER, Step(Saturation(amount=1)), CURVE, KEEP, EDGE]
    for table in Table:
        work = plan(steps, accepted=(ENCODED,), table=table)
        applied = [step for item in (*work.table, *work.items) for step in item.steps]
        assert applied == [KEEP, LIGHTER, CURVE, KEEP, EDGE]


def test_two_steps_in_one_domain_share_their_conversions() -> None:
    work = plan([KEEP, Step(Saturation(amount=2))], accepted=(LINEAR,), table=Table.NOTHING)
    assert [str(item) for item in work.items if isinstance(item, Convert)] == [
        "linear light → OkLab",
        "OkLab → linear light, with saturation: {amount: 2} worked in",
    ]


def test_the_result_is_handed_over_where_the_last_step_left_it() -> None:
    assert choose_output([KEEP, CURVE], (LINEAR, ENCODED)) is ENCODED
    assert choose_output([CURVE, KEEP], (LINEAR, ENCODED)) is LINEAR
    assert choose_output([CURVE], (LINEAR,)) is LINEAR
    assert choose_output([], (LINEAR, ENCODED)) is LINEAR
    work = plan([KEEP, CURVE], accepted=(LINEAR, ENCODED), table=Table.ALIKE)
    assert work.output is ENCODED
    assert isinstance(work.items[-1], Apply)


def test_steps_that_are_a_matrix_go_into_the_conversion_beside_them() -> None:
    warm, pale = Step(WhiteBalance(kelvin=5000)), Step(Saturation(amount=0.5))
    inside = [Apply(pale), Apply(KEEP), Apply(pale)]
    behind = [Apply(LIGHTER), Apply(EDGE), Apply(warm)]
    items = [Apply(warm), Convert(LINEAR, OKLAB), *inside, Convert(OKLAB, LINEAR), *behind]
    assert work_in_matrices(items) == [
        Convert(LINEAR, OKLAB, (warm,), (pale,)),
        Apply(KEEP),
        Convert(OKLAB, LINEAR, (pale,), (LIGHTER,)),
        Apply(EDGE),
        Apply(warm),
    ]


def test_a_step_limited_to_a_region_is_no_matrix() -> None:
    limited = Apply(Step(Saturation(amount=0.5), where=Box(sides=(0.1, 0.1, 0.9, 0.9))))
    items = [Convert(LINEAR, OKLAB), limited, Convert(OKLAB, LINEAR)]
    assert work_in_matrices(items) == items
