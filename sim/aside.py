"""A virtual machine put aside and taken up again: the plant that outlives the host, as bytes in the journal.

The bytes are a pickle, and a run folder may come from anybody: so nothing is taken up but the plant's own classes and
what its numbers are made of, by name. Methods are found by public names only.
"""

from __future__ import annotations

import io
import pickle
from dataclasses import dataclass
from typing import Any, Final

from sim.injector import Injector
from sim.machine import VirtualMachine
from sim.operator import VirtualOperator

# What a plant holds beside its own classes: settings that it was made with, a queue, and seeded chance.
OTHERS: Final = frozenset(
    {
        ("collections", "deque"),
        ("controller.core.commands", "Output"),
        ("controller.core.observation", "BoardState"),
        ("controller.plan.keep_outs", "Obstacle"),
        ("controller.plan.keep_outs", "Ways"),
        ("controller.plan.plan", "Plan"),
        ("controller.plan.plan", "PlannedHole"),
        ("controller.plan.plan", "Travel"),
        ("controller.settings.machine", "Axes"),
        ("controller.settings.machine", "Holder"),
        ("numpy", "dtype"),
        ("numpy._core.numeric", "_frombuffer"),
        ("numpy.core.numeric", "_frombuffer"),
        ("numpy.random._pcg64", "PCG64"),
        ("numpy.random._pickle", "__bit_generator_ctor"),
        ("numpy.random._pickle", "__generator_ctor"),
        ("numpy.random.bit_generator", "SeedSequence"),
        ("numpy.random.bit_generator", "__pyx_unpickle_SeedSequence"),
    }
)


class AsideError(Exception):
    """Bytes that are no virtual machine put aside by this version."""


@dataclass(slots=True)
class PutAside:
    """The plant, its operator, and the faults still to come."""

    virtual: VirtualMachine
    operator: VirtualOperator
    injector: Injector


def put_aside(machine: PutAside) -> bytes:
    """A machine as bytes."""
    return pickle.dumps(machine, pickle.HIGHEST_PROTOCOL)


def taken_up(aside: bytes) -> PutAside:
    """The machine of such bytes. Raises AsideError when they are none."""
    try:
        machine = _Plain(io.BytesIO(aside)).load()
    except Exception as error:  # whatever bytes may bring about
        raise AsideError(f"the virtual machine can't be taken up again ({error})") from error
    if not isinstance(machine, PutAside):
        raise AsideError("what was put aside is no virtual machine")
    return machine


class _Plain(pickle.Unpickler):
    """Finds the plant's classes and nothing else."""

    def find_class(self, module: str, name: str) -> Any:
        if (module, name) == ("builtins", "getattr"):
            return _public
        ours = module.partition(".")[0] == "sim" and "." not in name
        if not (ours or (module, name) in OTHERS):
            raise pickle.UnpicklingError(f"{module}.{name} is no part of a plant")
        found = super().find_class(module, name)
        if ours and not isinstance(found, type):
            raise pickle.UnpicklingError(f"{module}.{name} is no class")
        return found


def _public(owner: object, name: str) -> Any:
    """A bound method, as a pickle names it."""
    if name.startswith("_"):
        raise pickle.UnpicklingError(f"{name} is nobody else's")
    return getattr(owner, name)
