import pytest

from itm.reports.plot_axis import axis, number, round_step


@pytest.mark.parametrize(
    ("wanted", "step"),
    [(0.9, 1), (1, 1), (1.1, 2), (2.4, 5), (5.1, 10), (0.00043, 0.0005), (0.3, 0.5), (1300, 2000)],
)
def test_step_is_1_2_or_5_times_a_power_of_ten(wanted, step):
    assert round_step(wanted) == step


@pytest.mark.parametrize("low", [-3.7, 0, 1.33307, 2.99])
@pytest.mark.parametrize("span", [0.00047, 0.9, 3, 12.5, 4100])
def test_axis_holds_its_values_between_round_ticks(low, span):
    scale = axis(low, low + span, start=0, end=100, most=5)
    ticks = scale.ticks()
    assert ticks[0] == pytest.approx(scale.low)
    assert ticks[-1] == pytest.approx(scale.high)
    assert scale.low <= low + 1e-6 * span
    assert scale.high >= low + span * (1 - 1e-6)
    assert len(ticks) <= 5 + 2


def test_value_on_a_tick_up_to_float_noise_buys_no_further_step():
    scale = axis(0, 0.1 + 0.2 + 0.6, start=0, end=90, most=9)
    assert scale.high == pytest.approx(0.9)


def test_labels_have_the_digits_of_the_step():
    scale = axis(1.3331, 1.3344, start=0, end=1, most=3)
    assert [scale.label(value) for value in scale.ticks()] == [
        "1.3330", "1.3335", "1.3340", "1.3345",
    ]  # fmt: skip


def test_equal_ends_still_make_an_axis():
    scale = axis(3.0, 3.0, start=0, end=10, most=4)
    assert scale.low < 3.0 < scale.high


def test_minus_zero_is_written_as_zero_and_minus_as_a_minus_sign():
    assert number(-0.001, 2) == "0.00"
    assert number(-1.5, 1) == "\u22121.5"
