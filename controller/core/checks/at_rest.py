"""Checks with everything off and nothing moving: samples, mirror contact, front end, inputs, proof of isolation."""

from __future__ import annotations

from math import sqrt
from statistics import median
from typing import Final

from controller.core.checks.examination import (
    Check,
    Examination,
    Verdict,
    failed,
    mean,
    not_done,
    passed,
)
from controller.core.cycles.ask import DEAD, pose
from controller.core.cycles.contacts import CONTACT_TIMEOUT_S, OPEN_V, prove, release
from controller.core.cycles.wait import pause, until
from controller.core.events import Figure
from controller.core.rig import Cycle
from controller.core.window import ABSENT_V, METAL_V

# Two seconds of samples tell a rate to better than one in a hundred. Chosen.
STREAM_S: Final = 2.0
# 1000 samples a second (wires.md); below nine in ten the low runs that are counted in samples would be wrong. Chosen.
RATE_LEAST_HZ, RATE_MOST_HZ = 900.0, 1100.0
# A healthy stream is never older than 11 ms, with up to 16 ms of USB (wires.md); half of what the guard bears. Chosen.
AGE_MOST_S: Final = 0.05
REST_S: Final = 0.5  # chosen: five hundred samples
# Standard deviation of a single sample (V): a quarter of the level that is metal (0.1 V, electrics.md), so that a
# sample of a real contact is taken for open less than once in ten thousand. Chosen so.
NOISE_MOST_V: Final = METAL_V / 4.0
# Readings further from zero than this are not cut off by it, and their scatter is seen on both sides. Chosen.
OFF_ZERO_V: Final = 0.3
NORMAL_MAD: Final = 1.4826  # standard deviation over median absolute deviation of a normal law (from memory)


def noise_v(readings: list[float]) -> float:
    """Standard deviation of a sample's noise (V), whether the pin stands at zero or well above it.

    At zero the converter cuts the lower half off: what is left of a normal law has a mean square of half its variance.
    Above zero drop-outs of the source come between, so the median absolute deviation is taken.
    """
    centre = median(readings)
    if centre < OFF_ZERO_V:
        return sqrt(2.0 * mean([each * each for each in readings]))
    return NORMAL_MAD * median([abs(each - centre) for each in readings])


def _stream(exam: Examination) -> Cycle[Verdict]:
    bench = exam.bench
    counts: list[int] = []
    oldest_s, began_s = 0.0, bench.now_s
    while bench.now_s < began_s + STREAM_S:
        yield ()
        counts.append(len(bench.sense.seen.samples))
        oldest_s = max(oldest_s, bench.sense.seen.sampler_age_s)
    rate_hz = sum(counts) / (bench.now_s - began_s)
    figures = (
        Figure("samples", rate_hz, "a second"),
        Figure("fewest in a tick", min(counts), ""),
        Figure("most in a tick", max(counts), ""),
        Figure("oldest", oldest_s * 1e3, "ms", 1),
    )
    if not RATE_LEAST_HZ <= rate_hz <= RATE_MOST_HZ:
        return failed(
            f"the gap is sampled {rate_hz:.0f} times a second, not 1000",
            "load the stock sketch, with one analog channel at 1 ms; look at the USB cable and hub",
            *figures,
        )
    if oldest_s > AGE_MOST_S:
        return failed(
            f"samples came up to {oldest_s * 1e3:.0f} ms late",
            "give the sampler a USB port of its own, and the computer less to do",
            *figures,
        )
    return passed("the gap is sampled a thousand times a second, and on time", *figures)


def _contact(exam: Examination) -> Cycle[Verdict]:
    bench = exam.bench
    if (yield from until(bench, lambda: bench.sense.seen.contact_open, CONTACT_TIMEOUT_S)):
        return passed("commanded off, the source contact is proven open by its mirror contact")
    return failed(
        "the source contact is stuck: commanded off, its mirror contact says that it is closed",
        "switch the supply off at its isolator, wait 5 s, check with a meter; then renew the contact, or mend the "
        "mirror contact's wire",
    )


def _supply(exam: Examination) -> Cycle[Verdict]:
    """With a stuck contact only an isolated supply lets the rest be looked at."""
    bench = exam.bench
    if not exam.answers:
        return not_done("nobody is there to switch the supply off at its isolator", "do so, then start again")
    yield from pose(
        bench,
        "source contact stuck",
        "The source contact is stuck, so the electrode is live whatever the program does.",
        f"{DEAD} Leave it switched off.",
        "the pin is looked at; if it shows no voltage the checks that need no source go on",
        ("off", "end"),
        planned=False,
    )
    readings = yield from exam.volts(REST_S)
    off_v = Figure("pin", mean(readings), "V", 3)
    if off_v.figure >= ABSENT_V:
        return failed("the pin still shows a voltage", "find out where it comes from before anything else", off_v)
    bench.locks.absent = True
    return passed("the supply is off at its isolator: the pin shows no voltage", off_v)


def _front_end(exam: Examination) -> Cycle[Verdict]:
    readings = yield from exam.volts(REST_S)
    level, noise = mean(readings), noise_v(readings)
    figures = (Figure("pin", level, "V", 3), Figure("noise", noise * 1e3, "mV", 1))
    if noise > NOISE_MOST_V:
        return failed(
            f"the front end is noisy: a sample scatters by {noise * 1e3:.0f} mV, and metal contact is told by "
            f"{METAL_V * 1e3:.0f} mV",
            "shield the gap wire and ground the shield at one end; twist it with its return; keep it off the motors' "
            "cables; look at the isolator's supply",
            *figures,
        )
    if not exam.source_away:
        return not_done("the level at rest can't be judged with the source on the electrode; the noise is well", "")
    if level >= ABSENT_V:
        return failed(
            f"with source and sensing feed off the pin reads {level:.2f} V",
            "is the source really away? else look for an offset of the front end or a missing ground",
            *figures,
        )
    return passed("with everything off the pin reads nothing, and quietly", *figures)


def _isolation(exam: Examination) -> Cycle[Verdict]:
    bench = exam.bench
    open_v = yield from prove(bench)
    closed = open_v <= OPEN_V
    yield from release(bench)
    yield from pause(bench, CONTACT_TIMEOUT_S)
    off_v = mean((yield from exam.volts(CONTACT_TIMEOUT_S)))
    figures = (Figure("sensing off", off_v, "V", 3), Figure("sensing on", open_v, "V", 2))
    if closed:
        return failed(
            "the sensing path reads contact where the electrode should be clear, or the sensing feed does not come on",
            "is the tip clear of everything, and dry? Measure the 5 V feed behind its 2.2 kΩ and the sensing relay",
            *figures,
        )
    return passed("the source is proven isolated, and the sensing path reads open", *figures)


def _switched(exam: Examination, name: str, well: str, upset: str, do: str, undo: str) -> Cycle[Verdict]:
    """An input that a hand upsets and sets right again."""
    bench = exam.bench

    def is_well() -> bool:
        seen = bench.sense.seen
        return {"stop": not seen.stop_pressed, "guard": seen.guard_closed, "level": seen.level_ok}[name]

    if not is_well():
        return failed(f"{upset} at rest", f"{undo}; else look at its switch and its wire: an open wire reads so")
    if exam.hands_s <= 0.0:
        return not_done(f"{well} at rest; nobody was there to try it", f"start again, and {do} when asked")
    if not (yield from exam.by_hand(f"{do} now", lambda: not is_well())):
        return not_done(
            f"{well}, and nothing else was seen",
            f"if you did {do}, its contact does not open: mend it before anything else; if not, start again",
        )
    if not (yield from exam.by_hand(f"seen. Now {undo}", is_well)):
        return failed(f"{upset}, and stayed so", f"{undo}; look at its switch and its wire")
    return passed(f"{do}: seen; {undo}: seen")


def _stop(exam: Examination) -> Cycle[Verdict]:
    return (
        yield from _switched(
            exam, "stop", "the stop reads released", "the stop reads pressed", "press the hard-wired stop", "release it"
        )
    )


def _guard(exam: Examination) -> Cycle[Verdict]:
    return (
        yield from _switched(
            exam, "guard", "the guard reads shut", "the guard reads open", "open the guard", "shut the guard"
        )
    )


def _level(exam: Examination) -> Cycle[Verdict]:
    return (
        yield from _switched(
            exam,
            "level",
            "the tank level reads enough",
            "the tank level reads low",
            "push the float of the level switch down",
            "let the float go",
        )
    )


AT_REST: Final = (
    Check("stream", "Sample rate and jitter", (), _stream),
    Check("contact", "Source contact at rest", (), _contact),
    Check("supply", "Supply isolated", (), _supply, lambda exam: not exam.passed("contact")),
    Check("front-end", "Front end at rest", (), _front_end),
    Check("stop", "Stop input", (), _stop),
    Check("guard", "Guard input", (), _guard),
    Check("level", "Tank level input", (), _level),
    Check("isolation", "Proof of isolation, sensing path open", ("contact", "front-end"), _isolation),
)
