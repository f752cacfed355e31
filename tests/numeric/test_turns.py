import numpy as np
import pytest

from stride.numeric.turns import cross_matrices, turn_by, turns_by, vectors_of


def test_turns_are_rotations_and_come_back_as_their_vectors():
    vectors = np.random.default_rng(0).normal(0, 0.01, (20, 3))
    turns = turns_by(vectors)
    assert turns @ turns.transpose(0, 2, 1) == pytest.approx(np.tile(np.eye(3), (20, 1, 1)), abs=1e-12)
    assert vectors_of(turns) == pytest.approx(vectors, abs=2e-5)


@pytest.mark.parametrize("vector", [(0.0, 0.0, 0.0), (1e-12, 0.0, 0.0), (0.3, -0.7, 1.1)])
def test_one_turn_is_the_same_as_many(vector):
    assert turn_by(np.array(vector)) == pytest.approx(turns_by(np.array([vector]))[0], abs=1e-12)


def test_cross_matrices_take_the_cross_product():
    a, b = np.random.default_rng(1).normal(size=(2, 5, 3))
    assert (cross_matrices(a) @ b[:, :, None])[:, :, 0] == pytest.approx(np.cross(a, b))
