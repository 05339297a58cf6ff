"""Giving memory back: asked for where the C library can, and never in the way elsewhere."""

from __future__ import annotations

import ctypes

import numpy as np
import pytest

from motioncheck.measures import fitted
from motioncheck.pipeline import memory


def test_the_c_library_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    class Library:
        @staticmethod
        def malloc_trim(pad: int) -> int:
            asked.append(pad)
            return 1

    monkeypatch.setattr(ctypes, "CDLL", lambda _: Library())
    memory.give_back_memory()
    assert asked == [0]


@pytest.mark.parametrize("error", [OSError, TypeError])
def test_a_system_without_such_a_library_is_left_alone(
    error: type[Exception], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_: object) -> None:
        raise error

    monkeypatch.setattr(ctypes, "CDLL", refuse)
    memory.give_back_memory()


def test_a_library_that_cannot_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ctypes, "CDLL", lambda _: object())
    memory.give_back_memory()


def test_measures_of_joints_keep_the_order_of_the_registry() -> None:
    joints = np.random.default_rng(3).normal(size=(4, len(fitted.JOINTS), 3))
    found = fitted.measure_joints(np.arange(4) / 30.0, joints)
    specs = [spec for spec in fitted.REGISTRY if spec.compute is not None]
    assert list(found) == [column for spec in specs for column in spec.ids()]
