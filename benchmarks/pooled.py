"""Rounds of tidy and untidy hands pooled: tension, evenness, intervals counted wheel by wheel, pitch, repeated plucks.

Run ``python -m benchmarks.pooled [--count N] [--first SEED]``: N rounds of either scenario, named by the program. A line a round
goes to ``benchmarks/out/pooled.jsonl`` as it is done and is not done again; the table to the terminal and to
``benchmarks/out/pooled.txt``. Several runs with seeds of their own may write to the same file.

What all spokes of a wheel share, its length, section, material and ends, is drawn once a wheel. So a wheel's error counts as
one draw, and shares of spokes are averaged wheel by wheel.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import tensionear as te
from benchmarks.simulator.rounds import Event, Round, draw_round
from tensionear.listening import Listened, Strike, listen_through
from tensionear.pipeline import expectations_of, kinds_of
from tensionear.reading import Reading
from tensionear.readings.plucks import ACCEPTED, listed
from tensionear.readings.wheel import read_wheel
from tensionear.wheel.model import Wheel
from tensionear.wheel.wheelfile import parse_wheel

OUT = Path(__file__).parent / "out"
SCENARIOS = ("tidy", "untidy")
GROSS_CENTS, MISREAD_CENTS = 50.0, 10.0
NEAR_S = 0.06
COVERAGE = 1.959964


def main() -> None:
    """Draw, read, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=50, help="rounds of either scenario")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    path = OUT / "pooled.jsonl"
    wanted = [(name, seed) for seed in range(given.first, given.first + given.count) for name in SCENARIOS]
    for name, seed in wanted:
        if (name, seed) not in kept(path):
            line = json.dumps(read_one(draw_round(seed, name), name, seed))
            with path.open("a", encoding="utf-8") as file:
                file.write(line + "\n")
    done = kept(path)
    text = table([done[each] for each in wanted])
    (OUT / "pooled.txt").write_text(text, encoding="utf-8")
    print(text)


def kept(path: Path) -> dict[tuple[str, int], dict[str, Any]]:
    """The rounds in the file, by scenario and seed; a line cut off by a stop is left out."""
    found = {}
    for line in path.read_text("utf-8").splitlines() if path.exists() else ():
        try:
            one = json.loads(line)
        except json.JSONDecodeError:
            continue
        found[one["scenario"], one["seed"]] = one
    return found


def read_one(drawn: Round, scenario: str, seed: int) -> dict[str, Any]:
    """One round read; what of it the table needs, beside the truth."""
    wheel = parse_wheel(drawn.wheel_toml, "bench")
    first = int(drawn.options["first"] or 1)
    order, direction = drawn.options["order"], drawn.options["direction"]
    options = te.RoundOptions(order=order, direction=direction)  # type: ignore[arg-type]
    start = time.process_time()
    recording = te.Recording(drawn.samples, drawn.sample_rate_hz, f"{scenario} {seed}")
    listened = listen_through(recording, expectations_of(wheel))
    reading = read_wheel(recording.name, listened, wheel, kinds_of(wheel), first, options)
    spent = time.process_time() - start
    return {
        "scenario": scenario,
        "seed": seed,
        "flat": drawn.flat,
        "snr_db": drawn.snr_db,
        "sound_s": listened.duration_s,
        "processor_s": spent,
        "spokes": _spokes(reading, drawn),
        "sides": _sides(reading, drawn),
        "pitch": _pitch(listened, drawn),
        "repeats": _repeats(listened, wheel, first, options, reading),
    }


def _spokes(reading: Reading, drawn: Round) -> list[dict[str, Any]]:
    """Truth and reading of each plucked spoke; ``misread``: it has the number of another spoke's pluck, or a wrong pitch."""
    heard: dict[int, list[float]] = {}
    strange: set[int] = set()
    for pluck in reading.plucks:
        if not pluck.used or pluck.spoke is None or pluck.tension_n is None:
            continue
        heard.setdefault(pluck.spoke, []).append(float(pluck.frequency_hz or 0.0))
        event = _event_at(drawn, pluck.onset_s)
        if event is None or event.spoke != pluck.spoke:
            strange.add(pluck.spoke)
    found = []
    for true, spoke in zip(drawn.spokes, reading.spokes, strict=True):
        off = [_cents(each, _first_modes(drawn, true.spoke)) for each in heard.get(spoke.spoke, []) if each]
        cents = max(off, key=abs) if off else None
        found.append(
            {
                "side": true.side,
                "plucked": true.plucked,
                "true_n": true.tension_n,
                "read_n": spoke.tension_n,
                "u_n": spoke.u_tension_n,
                "interval_n": spoke.interval_95_n,
                "deviation": spoke.deviation_percent,
                "u_deviation": spoke.u_deviation_percent,
                "cents": cents,
                "another": spoke.spoke in strange,
                "misread": spoke.tension_n is not None
                and (not true.plucked or cents is None or abs(cents) > MISREAD_CENTS),
            }
        )
    return found


def _sides(reading: Reading, drawn: Round) -> list[dict[str, Any]]:
    """Each side's mean as read, with its u, beside the true mean of the same spokes."""
    found = []
    for side, one in reading.sides.items():
        members = [each for each in reading.spokes if each.side == side and each.tension_n is not None]
        true = float(np.mean([drawn.spokes[each.spoke - 1].tension_n for each in members]))
        found.append({"side": side, "spokes": len(members), "true_n": true, "mean_n": one.mean_n, "u_n": one.u_mean_n})
    return found


def _pitch(listened: Listened, drawn: Round) -> dict[str, Any]:
    """Every pluck that was heard in full: how many, how many silent, and the cents of the others.

    A slip that another pluck follows within a quarter of a second is left out, as is one that another sound covers.
    """
    plucks = [event for event in drawn.plucks if event.stop_s > 0.25 and not _covered(event, drawn)]
    cents, silent, ratio = [], 0, []
    for event in plucks:
        near = [each for each in listened.strikes if abs(each.onset_s - event.onset_s) < NEAR_S]
        strike = max(near, key=lambda each: each.probability, default=None)
        line = None if strike is None else _first_mode(strike)
        if line is None:
            silent += 1
            continue
        frequency, u = line
        wanted = _first_modes(drawn, event.spoke or 1)
        cents.append(_cents(frequency, wanted))
        ratio.append(min(((frequency - each) / u for each in wanted), key=abs))
    return {"plucks": len(plucks), "silent": silent, "cents": cents, "z": ratio}


def _covered(event: Event, drawn: Round) -> bool:
    """Whether another onset follows within a quarter of a second."""
    return any(0 < other.onset_s - event.onset_s < 0.25 for other in drawn.events)


def _first_mode(strike: Strike) -> tuple[float, float] | None:
    """First mode with its u; None where the strike is not taken for a pluck or none is heard."""
    first = strike.heard[strike.best].first_modes(0)
    if strike.probability < ACCEPTED or not first:
        return None
    return first[0].frequency_hz, first[0].u_frequency_hz


def _repeats(
    listened: Listened, wheel: Wheel, first: int, options: te.RoundOptions, reading: Reading
) -> list[list[float]]:
    """Deviations in percent of spokes plucked more than once: by their first pluck, by their second alone."""
    plucks: dict[int, list[int]] = {}
    for number, pluck in enumerate(reading.plucks, 1):
        if pluck.used and pluck.spoke is not None and pluck.tension_n is not None:
            plucks.setdefault(pluck.spoke, []).append(number)
    again = {spoke: numbers for spoke, numbers in plucks.items() if len(numbers) > 1}
    if not again:
        return []
    named = {number: spoke for spoke, numbers in plucks.items() for number in numbers}
    found = []
    for which in (0, 1):
        left = {number for numbers in again.values() for number in numbers if number != numbers[which]}
        skip = tuple(n for n in range(1, len(listed(listened)) + 1) if n in left or n not in named)
        assign = {number: spoke for number, spoke in named.items() if number not in left}
        chosen = te.RoundOptions(options.order, options.direction, (), assign, skip)
        other = read_wheel("again", listened, wheel, kinds_of(wheel), first, chosen)
        found.append([other.spokes[spoke - 1].deviation_percent for spoke in again])
    pairs = zip(found[0], found[1], strict=True)
    return [[one, two] for one, two in pairs if one is not None and two is not None]


def _event_at(drawn: Round, onset_s: float) -> Event | None:
    return min(
        (event for event in drawn.plucks if abs(event.onset_s - onset_s) < NEAR_S),
        key=lambda event: abs(event.onset_s - onset_s),
        default=None,
    )


def _first_modes(drawn: Round, spoke: int) -> tuple[float, ...]:
    """True first modes a reading may give: the flat plane's of a flat spoke, either plane's of a round one."""
    both = drawn.spokes[spoke - 1].frequency_hz
    return both[:1] if drawn.flat else both


def _cents(found_hz: float, wanted_hz: Sequence[float]) -> float:
    return min((1200 * float(np.log2(found_hz / each)) for each in wanted_hz), key=abs)


def table(rounds: Sequence[Mapping[str, Any]]) -> str:
    """All figures, for each scenario and pooled."""
    groups = [[one for one in rounds if one["scenario"] == name] for name in SCENARIOS] + [list(rounds)]
    rows = zip(*(_figures(some) for some in groups), strict=True)
    lines = [f"{'':<56}{'tidy':>18}{'untidy':>18}{'pooled':>18}"]
    lines += [f"{row[0][0]:<56}" + "".join(f"{value:>18}" for _, value in row) for row in rows]
    return "\n".join(lines) + "\n"


def _figures(rounds: Sequence[Mapping[str, Any]]) -> list[tuple[str, str]]:
    read = [[each for each in one["spokes"] if each["read_n"] is not None and each["plucked"]] for one in rounds]
    every = [each for some in read for each in some]
    error = np.array([each["read_n"] / each["true_n"] - 1 for each in every])
    stated = np.array([each["u_n"] / each["true_n"] for each in every])
    even = [_evenness(one) for one in rounds]
    gap, u_gap = (np.concatenate([each[at] for each in even]) for at in (0, 1))
    clean = np.concatenate([each[0][~each[2]] for each in even])
    bias, u_bias = np.array([_wheel_bias(one) for one in rounds if one["sides"]]).T
    side = np.array([[x["mean_n"] / x["true_n"] - 1, x["u_n"] / x["true_n"]] for one in rounds for x in one["sides"]])
    cents = np.abs([each for one in rounds for each in one["pitch"]["cents"]])
    z = np.array([each for one in rounds for each in one["pitch"]["z"]])
    again = np.array([pair for one in rounds for pair in one["repeats"]]).reshape(-1, 2)
    plucked = sum(each["plucked"] for one in rounds for each in one["spokes"])
    return [
        ("rounds, spokes plucked, read", f"{len(rounds)}, {plucked}, {len(every)}"),
        ("another spoke's pluck; pitch > 10 cents off", f"{_count(rounds, 'another')}; {_count(rounds, 'misread')}"),
        ("plucks heard in full, silent", f"{_sum(rounds, 'plucks')}, {_sum(rounds, 'silent')}"),
        ("... more than 50 cents wrong", f"{int(np.sum(cents > GROSS_CENTS))}"),
        ("... cents, median, 95 %", f"{np.median(cents):.2f}, {_95(cents):.2f}"),
        ("... chi-square of the stated u, robust; trimmed 99 %", f"{_robust(z):.2f}; {_trimmed(z):.2f}"),
        ("tension: median, 95 % of |error|, %", f"{100 * np.median(np.abs(error)):.2f}, {100 * _95(error):.2f}"),
        ("... median stated u %; over rms error", f"{100 * np.median(stated):.2f}; {np.median(stated) / _rms(error):.2f}"),
        ("... in the 95 % interval, averaged by wheel, %", _percent(_by_wheel(rounds, _inside))),
        ("bias of a wheel, rms %; over its stated u", f"{100 * _rms(bias):.2f}; {_rms(bias / u_bias):.2f}"),
        ("... wheels in the 95 % interval, %", _percent(list(np.abs(bias) <= COVERAGE * u_bias))),
        ("bias of a side, rms %; over its stated u", f"{100 * _rms(side[:, 0]):.2f}; {_rms(side[:, 0] / side[:, 1]):.2f}"),
        ("evenness: rms %, without misread", f"{_rms(gap):.2f}, {_rms(clean):.2f}"),
        ("... 68 %, 95 %, largest of |error|, %", f"{np.percentile(abs(gap), 68):.2f}, {_95(gap):.2f}, {abs(gap).max():.2f}"),
        ("... its median stated u %; over rms error", f"{np.median(u_gap):.2f}; {np.median(u_gap) / _rms(gap):.2f}"),
        ("... in the 95 % interval, averaged by wheel, %", _percent([float(np.mean(_in(e))) for e in even if len(e[0])])),
        ("spokes plucked again; rms of the difference, %", f"{len(again)}; {_rms(again[:, 0] - again[:, 1]):.2f}"),
        ("... rms of one pluck about both, %", f"{_rms(again[:, 0] - again[:, 1]) / np.sqrt(2):.2f}"),
        ("processor ms a pluck, median of rounds", f"{np.median([_pace(one) for one in rounds]):.1f}"),
    ]  # fmt: skip


def _evenness(one: Mapping[str, Any]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Error of each read spoke's deviation from the mean of its side's read spokes, its u (percent), and if misread."""
    gap, u, wrong = [], [], []
    for side in {each["side"] for each in one["spokes"]}:
        members = [each for each in one["spokes"] if each["side"] == side and each["deviation"] is not None]
        mean = float(np.mean([each["true_n"] for each in members])) if members else 1.0
        gap += [each["deviation"] - 100 * (each["true_n"] / mean - 1) for each in members]
        u += [each["u_deviation"] for each in members]
        wrong += [bool(each["misread"]) for each in members]
    return np.array(gap), np.array(u), np.array(wrong, bool)


def _in(even: tuple[np.ndarray, np.ndarray, np.ndarray]) -> np.ndarray:
    return np.asarray(np.abs(even[0]) <= COVERAGE * even[1])


def _wheel_bias(one: Mapping[str, Any]) -> tuple[float, float]:
    """Relative error of the mean of all spokes read, and its u; what the sides share is taken to be all of it."""
    weight = np.array([each["spokes"] for each in one["sides"]], float)
    true, mean, u = (np.array([each[key] for each in one["sides"]]) @ weight for key in ("true_n", "mean_n", "u_n"))
    return float(mean / true - 1), float(u / true)


def _inside(spoke: Mapping[str, Any]) -> bool:
    low, high = spoke["interval_n"]
    return bool(low <= spoke["true_n"] <= high)


def _by_wheel(rounds: Sequence[Mapping[str, Any]], told: Callable[[Mapping[str, Any]], bool]) -> list[float]:
    """The share of each round's read spokes of which it is so."""
    shares = []
    for one in rounds:
        read = [each for each in one["spokes"] if each["read_n"] is not None and each["plucked"]]
        if read:
            shares.append(float(np.mean([told(each) for each in read])))
    return shares


def _percent(shares: Sequence[float]) -> str:
    """Mean of shares in percent, with its standard error."""
    values = 100 * np.array(shares, float)
    return f"{values.mean():.1f} +/- {values.std(ddof=1) / np.sqrt(len(values)):.1f}" if len(values) > 1 else "-"


def _count(rounds: Sequence[Mapping[str, Any]], key: str) -> int:
    return sum(bool(each[key]) for one in rounds for each in one["spokes"])


def _sum(rounds: Sequence[Mapping[str, Any]], key: str) -> int:
    return sum(one["pitch"][key] for one in rounds)


def _pace(one: Mapping[str, Any]) -> float:
    return 1000 * one["processor_s"] / max(one["pitch"]["plucks"], 1)


def _95(values: np.ndarray) -> float:
    return float(np.percentile(np.abs(values), 95))


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if len(values) else float("nan")


def _robust(z: np.ndarray) -> float:
    """Square of the scale by the median, 1 for a normal deviate."""
    return float((np.median(np.abs(z)) / 0.6745) ** 2)


def _trimmed(z: np.ndarray) -> float:
    """Mean square without the largest hundredth."""
    size = np.sort(np.abs(z))
    return float(np.mean(size[: max(1, int(0.99 * len(size)))] ** 2))


if __name__ == "__main__":
    main()
