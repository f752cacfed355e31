import numpy as np
import pytest

from stride.walk.losses import describe_losses, drop_scraps

TIMES = np.arange(10) / 10


def test_nothing_lost_says_nothing():
    assert describe_losses(TIMES, [None] * 10) == ()


def test_each_run_is_one_sentence_with_its_commonest_reason():
    losses = [None, "blurred", "blurred", "bare", None, None, "cut", "cut", "cut", "cut"]
    first, second = describe_losses(TIMES, losses)
    assert (
        first == "From 0.10 s to 0.30 s the camera could not be followed: the picture is blurred or covered."
    )
    assert (
        second == "From 0.60 s to 0.90 s the camera could not be followed: the picture jumps to another view."
    )


@pytest.mark.parametrize("loss", ["bare", "blurred", "cut", "zoomed", "unsure"])
def test_every_reason_reads_as_a_sentence(loss):
    (sentence,) = describe_losses(TIMES[:1], [loss])
    assert sentence.startswith("At 0.00 s the camera could not be followed: ")
    assert sentence.endswith(".")


def test_scraps_between_losses_are_given_up():
    losses = ["cut", None, None, "bare", None, None, None, None, None, "zoomed"]
    kept = drop_scraps(TIMES, losses, 0.25)
    assert kept == ["cut", "bare", "bare", "bare", None, None, None, None, None, "zoomed"]
    assert drop_scraps(TIMES, [None] * 10, 0.25) == [None] * 10
