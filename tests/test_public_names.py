from __future__ import annotations

import pickle

import pytest

import stride


@pytest.mark.parametrize("name", stride.__all__)
def test_every_public_name_is_there(name):
    assert getattr(stride, name) is not None
    assert name in dir(stride)


def test_another_name_is_an_ordinary_error():
    with pytest.raises(AttributeError, match="'measure_trot'"):
        stride.measure_trot  # noqa: B018


@pytest.mark.parametrize("kind", stride.StrideError.__subclasses__())
def test_errors_say_both_sentences_and_cross_processes(kind):
    error = pickle.loads(pickle.dumps(kind("Found this.", "Do that.")))
    assert type(error) is kind
    assert str(error) == "Found this. Do that."
    assert (error.problem, error.remedy) == ("Found this.", "Do that.")
