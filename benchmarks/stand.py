"""A round at the stand over a sound card: is it heard as the file is, and how soon? Needs a sound server, real or virtual.

Plays a simulated round with ``paplay`` and listens to it with the program's own engine. Prints one JSON object. On a
machine without a sound card, tests/live/card.py makes a virtual one; `python -m benchmarks.stand` uses it.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

from benchmarks.simulator.rounds import Round
from benchmarks.simulator.stand import draw_stand
from tensionear.capture.microphone import Microphone, Piece, Recovered, Trouble, open_microphone
from tensionear.capture.recording import Recording, Samples
from tensionear.cli.livesound import player
from tensionear.listening import listen_through
from tensionear.live.engine import Engine
from tensionear.live.events import Cue
from tensionear.live.keeping import KeepsNothing
from tensionear.live.session import Session
from tensionear.live.subject import Names, WheelSubject
from tensionear.live.told import Setup, Told
from tensionear.options import RoundOptions
from tensionear.pipeline import expectations_of
from tensionear.readings.plucks import listed
from tensionear.wheel.wheelfile import parse_wheel

_POLL_S = 0.002
_AFTER_S, _TONE_EVERY_S = 2.5, 1.3
_TONES_HZ, _PIP_S, _TONE_LEVEL = (1_320.0, 1_760.0), 0.07, 0.15  # of live/tones.py, which plays them at 0.25


def watch(engine: Engine, until: threading.Event) -> dict[tuple[float, bool], float]:
    """When each number was first there, by onset and whether it was final."""
    seen: dict[tuple[float, bool], float] = {}
    while not until.is_set():
        shown = engine.latest.round.shown
        if shown is not None:
            seen.setdefault((shown.onset_s, shown.final), time.monotonic())
        time.sleep(_POLL_S)
    return seen


class Timed:
    """A microphone that remembers when each of its frames came."""

    def __init__(self, microphone: Microphone) -> None:
        self.microphone = microphone
        self.name, self.sample_rate_hz = microphone.name, microphone.sample_rate_hz
        self._ends, self._came, self._frames = [0.0], [0.0], 0
        self._kept: list[Samples] = []

    def take(self, timeout_s: float) -> Piece | Trouble | Recovered | None:
        """As the microphone's."""
        got = self.microphone.take(timeout_s)
        if isinstance(got, Piece):
            self._frames += len(got.samples)
            self._ends.append(self._frames / self.sample_rate_hz)
            self._came.append(got.at_s)
            self._kept.append(got.samples[:, 0])
        return got

    def stop(self) -> None:
        """As the microphone's."""
        self.microphone.stop()

    def came_s(self, onset_s: float) -> float:
        """When the frame at this time of the stream came."""
        return self._came[int(np.searchsorted(self._ends, onset_s))]

    def sound(self) -> Samples:
        """All that came."""
        return np.concatenate(self._kept)

    def tones(self) -> int:
        """How many tones at the pitches of the program's own stand in what was heard, as loud as those are played."""
        sound, step = self.sound(), round(_PIP_S * self.sample_rate_hz / 4)
        parts = sound[: len(sound) // step * step].reshape(-1, step)
        turns = 2j * np.pi * np.arange(step) / self.sample_rate_hz
        loud = np.max([np.abs(parts @ np.exp(-hz * turns)) * 2 / step for hz in _TONES_HZ], axis=0) > _TONE_LEVEL
        return int(np.count_nonzero(loud[1:] & ~loud[:-1]))


def delays_s(seen: dict[tuple[float, bool], float], timed: Timed, final: bool) -> list[float]:
    """From each pluck to its number, since its sound came out of the sound system."""
    return [when - timed.came_s(onset) for (onset, is_final), when in seen.items() if is_final is final]


def from_file(drawn: Round, session: Session, later_s: float = 0.0) -> dict[int, float]:
    """Tensions by spoke of the round, or of what was heard of it ``later_s`` later, read as a file, named by the truth."""
    wheel = parse_wheel(drawn.wheel_toml, "stand")
    heard = listen_through(Recording(drawn.samples, drawn.sample_rate_hz), expectations_of(wheel))
    strikes = listed(heard)
    names = {}
    for event in drawn.plucks:
        index = int(np.argmin([abs(strike.onset_s - event.onset_s - later_s) for strike in strikes]))
        names[index] = event.spoke or 1
    reading = session.subject.read_named("file", heard, Names(names, False), RoundOptions())
    return {each.spoke: each.tension_n for each in reading.spokes if each.tension_n is not None}


def differ_percent(live: dict[int, float], read: dict[int, float]) -> float | None:
    """The largest difference of a tension."""
    return max((100 * abs(live[spoke] / read[spoke] - 1) for spoke in read if spoke in live), default=None)


def _drop(what: object) -> None:
    """No sound is wanted here."""


def tones_alone(session: Session, timed: Timed, told: list[Told]) -> dict[str, object]:
    """Play every tone of the program into its own microphone: what it makes of them, which should be nothing."""
    session.listen_to(timed.sample_rate_hz, 1, 0)
    cues: list[Cue] = ["next", "again", "done", "tighten", "loosen", "there"]
    started_s = time.monotonic()
    while (passed_s := time.monotonic() - started_s) < _TONE_EVERY_S * 7:
        got = timed.take(0.05)
        if isinstance(got, Piece):
            session.push(replace(got, samples=got.samples[:, :1]))
        if cues and passed_s > _TONE_EVERY_S * (7 - len(cues)):
            session.play(cues.pop(0))
    timed.stop()
    return {
        "tones_heard": timed.tones(),
        "told": [each.code or each.kind for each in told if each.kind != "microphone"],
    }


def main() -> None:
    """Play, listen, compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=4)
    parser.add_argument("--spokes", type=int, default=12)
    parser.add_argument("--tones", action="store_true", help="play the program's own tones too")
    parser.add_argument("--only-tones", action="store_true", help="play nothing but those")
    parser.add_argument("--silence", type=float, default=3.0, metavar="S", help="how long to listen before")
    chosen = parser.parse_args()
    drawn = draw_stand(chosen.seed, chosen.spokes)
    subject = WheelSubject(parse_wheel(drawn.wheel_toml, "stand"))
    told: list[Told] = []
    sounds = player() if chosen.tones or chosen.only_tones else _drop
    session = Session(subject, Setup("live", 1, RoundOptions(), 2), KeepsNothing(), sounds, told.append)
    microphone = open_microphone(os.environ.get("STAND_INPUT"))
    timed = Timed(microphone)
    if chosen.only_tones:
        print(json.dumps(tones_alone(session, timed, told)))
        return
    engine = Engine(session, timed, microphone.channels, None, reads_along=True)
    done = threading.Event()
    seen: dict[tuple[float, bool], float] = {}
    hearing = threading.Thread(target=engine.run)
    watching = threading.Thread(target=lambda: seen.update(watch(engine, done)))
    hearing.start()
    watching.start()
    time.sleep(1.0)
    cpu = time.process_time()
    time.sleep(chosen.silence)
    silent = (time.process_time() - cpu) / chosen.silence
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "round.wav"
        soundfile.write(path, drawn.samples, drawn.sample_rate_hz, subtype="PCM_24")
        playing = subprocess.Popen(["paplay", "--latency-msec=400", str(path)])
        played_s, cpu = time.monotonic(), time.process_time()
        playing.wait()
    plucking = (time.process_time() - cpu) / (time.monotonic() - played_s)
    time.sleep(_AFTER_S)
    engine.stop()
    done.set()
    hearing.join()
    watching.join()
    truth = from_file(drawn, session)
    live = {each.spoke: each.tension_n for each in session.read().spokes if each.tension_n is not None}
    came = replace(drawn, samples=timed.sound())
    later_s = min(onset_s for onset_s, _ in seen) - drawn.plucks[0].onset_s
    same = from_file(came, session, later_s)
    print(
        {spoke: round(100 * (live[spoke] / truth[spoke] - 1), 2) for spoke in truth if spoke in live}, file=sys.stderr
    )
    result = {"spokes": len(truth), "accepted": len(session.round.accepted), "closed": session.round.closed}
    result |= {"differ_percent": differ_percent(live, truth), "same_sound_differ_percent": differ_percent(live, same)}
    result |= {"read_live": len(live)}
    for name, final in (("first", False), ("final", True)):
        delay = delays_s(seen, timed, final)
        result |= {f"{name}_count": len(delay)}
        result |= {f"{name}_{share}_s": round(float(np.percentile(delay, share)), 3) for share in (50, 95)}
    result |= {"cpu_silent": round(silent, 3), "cpu_plucking": round(plucking, 3), "lost_s": microphone.counter.lost_s}
    result |= {"tones_heard": timed.tones(), "refused": [each.code for each in told if each.kind == "refused"]}
    result |= {"sound_system_s": microphone.latency_s}
    result |= {"trouble": str(engine.failed) if engine.failed else session.round.trouble}
    print(json.dumps(result))


if __name__ == "__main__":
    main()
