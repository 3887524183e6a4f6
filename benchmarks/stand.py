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
from pathlib import Path

import numpy as np
import soundfile

from benchmarks.simulator.rounds import Round
from benchmarks.simulator.stand import draw_stand
from tensionear.capture.microphone import Microphone, Piece, Recovered, Trouble, open_microphone
from tensionear.capture.recording import Recording
from tensionear.cli.livesound import player
from tensionear.listening import listen_through
from tensionear.live.engine import Engine
from tensionear.live.keeping import KeepsNothing
from tensionear.live.session import Session
from tensionear.live.subject import WheelSubject
from tensionear.live.told import Setup
from tensionear.options import RoundOptions
from tensionear.pipeline import expectations_of
from tensionear.readings.plucks import listed
from tensionear.wheel.wheelfile import parse_wheel

_POLL_S = 0.002
_AFTER_S = 2.5


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

    def take(self, timeout_s: float) -> Piece | Trouble | Recovered | None:
        """As the microphone's."""
        got = self.microphone.take(timeout_s)
        if isinstance(got, Piece):
            self._frames += len(got.samples)
            self._ends.append(self._frames / self.sample_rate_hz)
            self._came.append(got.at_s)
        return got

    def stop(self) -> None:
        """As the microphone's."""
        self.microphone.stop()

    def came_s(self, onset_s: float) -> float:
        """When the frame at this time of the stream came."""
        return self._came[int(np.searchsorted(self._ends, onset_s))]


def delays_s(seen: dict[tuple[float, bool], float], timed: Timed, final: bool) -> list[float]:
    """From each pluck to its number, since its sound came out of the sound system."""
    return [when - timed.came_s(onset) for (onset, is_final), when in seen.items() if is_final is final]


def from_file(drawn: Round, session: Session) -> dict[int, float]:
    """Tensions by spoke of the same round read from the file, its plucks named by the truth."""
    wheel = parse_wheel(drawn.wheel_toml, "stand")
    heard = listen_through(Recording(drawn.samples, drawn.sample_rate_hz), expectations_of(wheel))
    strikes = listed(heard)
    names = {}
    for event in drawn.plucks:
        index = int(np.argmin([abs(strike.onset_s - event.onset_s) for strike in strikes]))
        names[index] = event.spoke or 1
    from tensionear.live.subject import Names

    reading = session.subject.read_named("file", heard, Names(names, False), RoundOptions())
    return {each.spoke: each.tension_n for each in reading.spokes if each.tension_n is not None}


def _drop(what: object) -> None:
    """Neither sound nor lines are wanted here."""


def main() -> None:
    """Play, listen, compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=4)
    parser.add_argument("--spokes", type=int, default=12)
    parser.add_argument("--tones", action="store_true", help="play the program's own tones too")
    parser.add_argument("--silence", type=float, default=3.0, metavar="S", help="how long to listen before")
    chosen = parser.parse_args()
    drawn = draw_stand(chosen.seed, chosen.spokes)
    subject = WheelSubject(parse_wheel(drawn.wheel_toml, "stand"))
    session = Session(
        subject, Setup("live", 1, RoundOptions(), 2), KeepsNothing(), player() if chosen.tones else _drop, _drop
    )
    microphone = open_microphone(os.environ.get("STAND_INPUT"))
    timed = Timed(microphone)
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
    differ = [100 * abs(live[spoke] / truth[spoke] - 1) for spoke in truth if spoke in live]
    print(
        {spoke: round(100 * (live[spoke] / truth[spoke] - 1), 2) for spoke in truth if spoke in live}, file=sys.stderr
    )
    result = {"spokes": len(truth), "accepted": len(session.round.accepted), "closed": session.round.closed}
    result |= {"differ_percent": max(differ, default=None), "read_live": len(live)}
    for name, final in (("first", False), ("final", True)):
        delay = delays_s(seen, timed, final)
        result |= {f"{name}_count": len(delay)}
        result |= {f"{name}_{share}_s": round(float(np.percentile(delay, share)), 3) for share in (50, 95)}
    result |= {"cpu_silent": round(silent, 3), "cpu_plucking": round(plucking, 3), "lost_s": microphone.counter.lost_s}
    result |= {"sound_system_s": microphone.latency_s}
    result |= {"trouble": str(engine.failed) if engine.failed else session.round.trouble}
    print(json.dumps(result))


if __name__ == "__main__":
    main()
