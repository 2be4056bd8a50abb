"""Sums keep their order, so single and batch have the same bits."""

import numpy as np

from calc.sums import ordered_mean, ordered_sum, squared


def test_sum_goes_first_to_last():
    values = [1e16, 1.0, 1.0, -1e16]
    assert ordered_sum(values) == ((1e16 + 1.0) + 1.0) - 1e16


def test_batch_has_the_bits_of_the_single_sums():
    values = np.random.default_rng(7).normal(size=(24, 500))
    batch = ordered_sum(values)
    singles = np.array([ordered_sum(column) for column in values.T])
    assert batch.tobytes() == singles.tobytes()


def test_mean_divides_by_the_length_of_the_first_axis():
    assert ordered_mean([[1.0, 10.0], [3.0, 30.0]]).tolist() == [2.0, 20.0]


def test_square_beyond_numbers_is_infinite():
    assert squared(-3.0) == 9.0
    assert squared(1e200) == float("inf")
