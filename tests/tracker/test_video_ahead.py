"""A stage of a pipeline that runs ahead in a thread: order, bounds, faults, and its end."""

import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest

from tracker.video import inspect
from tracker.video.ahead import FEWEST, MOST, ahead, begun, frames_ahead
from tracker.video.decoding import film
from tracker.video.listing import open_clip

PATIENCE_S = 10.0


def counted(until, made, ended):
    try:
        for number in range(until):
            made.append(number)
            yield number
    finally:
        ended.append(threading.current_thread())


def test_items_come_in_order_from_another_thread():
    made, ended = [], []
    assert list(ahead(counted(50, made, ended), 3)) == list(range(50))
    (where,) = ended
    assert where is not threading.current_thread() and not where.is_alive()


def test_no_more_items_wait_than_asked_for():
    made, ended = [], []
    with closing(ahead(counted(100, made, ended), 4)) as stage:
        for taken in stage:
            # Those that wait, the one taken, and the one that finds no room.
            assert len(made) <= taken + 1 + 4 + 1


def test_a_stage_runs_on_while_its_first_item_is_used():
    reached = threading.Event()

    def items():
        yield 1
        yield 2
        reached.set()
        yield 3

    with closing(ahead(items(), 2)) as stage:
        assert next(stage) == 1
        assert reached.wait(PATIENCE_S)


@pytest.mark.parametrize("alone", [False, True])
def test_what_is_begun_is_made_once_and_given_whenever_it_is_asked_for(alone, monkeypatch):
    monkeypatch.setattr(sys.modules[ahead.__module__], "_in_one_thread", alone)
    made = []

    def make():
        made.append(threading.current_thread())
        return object()

    given = begun(make)
    assert given() is given()
    (where,) = made
    assert (where is threading.current_thread()) is alone


def test_what_is_begun_is_made_before_it_is_asked_for():
    made = threading.Event()
    given = begun(made.set)
    assert made.wait(PATIENCE_S)
    assert given() is None


def test_a_fault_of_what_is_begun_comes_where_it_is_asked_for():
    def make():
        raise ValueError("broken")

    given = begun(make)
    with pytest.raises(ValueError, match="broken"):
        given()


def test_a_fault_comes_where_its_item_would_have_come():
    def faulty():
        yield 1
        raise ValueError("broken")

    stage = ahead(faulty(), 5)
    assert next(stage) == 1
    with pytest.raises(ValueError, match="broken"):
        next(stage)


def test_a_stage_that_nobody_wants_any_more_ends_in_its_own_thread():
    made, ended = [], []
    interval = sys.getswitchinterval()
    stage = ahead(counted(10**9, made, ended), 2)
    assert next(stage) == 0
    stage.close()
    (where,) = ended
    assert where is not threading.current_thread() and not where.is_alive()
    assert sys.getswitchinterval() == interval


def test_stages_stand_behind_one_another():
    made, ended = [], []
    with (
        closing(ahead(counted(10**9, made, ended), 2)) as first,
        closing(ahead((2 * number for number in first), 2)) as second,
    ):
        assert [next(second) for _ in range(5)] == [0, 2, 4, 6, 8]
    assert len(ended) == 1


def test_few_large_frames_wait_and_many_small_ones():
    assert frames_ahead((3840, 2160)) == 2
    assert frames_ahead((1920, 1080)) == 7
    assert frames_ahead((16, 16)) == MOST and frames_ahead((20_000, 20_000)) == FEWEST


def test_a_process_beside_others_makes_each_item_itself_when_it_is_asked_for(monkeypatch):
    monkeypatch.setattr(sys.modules["tracker.video.ahead"], "_in_one_thread", True)
    made, ended = [], []
    with closing(ahead(counted(100, made, ended), 4)) as stage:
        assert [next(stage), next(stage)] == [0, 1]
        assert made == [0, 1]
    assert ended == [threading.current_thread()]


@pytest.mark.parametrize(("alone", "threads"), [(True, 1), (False, 0)])
def test_a_process_beside_others_decodes_with_one_thread(monkeypatch, alone, threads):
    monkeypatch.setattr(sys.modules["tracker.video.ahead"], "_in_one_thread", alone)
    clip = Path(__file__).parents[2] / "sample_clips" / "wide" / "clips" / "140mm.mp4"
    facts = inspect(clip)
    with open_clip(clip) as container:
        stream = film(container, facts)
        assert stream.thread_count == threads
        assert next(container.decode(stream)).width == facts.size_px[0]
