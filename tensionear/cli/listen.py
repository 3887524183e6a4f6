"""``tensionear listen``: a round as it is plucked. Imports options and errors; all that is heavy when it runs."""

from __future__ import annotations

import queue
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tensionear.errors import UsageError
from tensionear.options import Crossing, Direction, Order, RoundOptions

from .earlier import Wanted, earlier_reading, out_of_limits
from .keep import asked_of
from .read import Subject as Plucked
from .show import shown_units

if TYPE_CHECKING:
    from tensionear.capture.recording import AudioSource
    from tensionear.live.engine import Engine
    from tensionear.live.events import Cue
    from tensionear.live.keeping import Keeper, Restored
    from tensionear.live.session import Session
    from tensionear.live.source import LiveSource
    from tensionear.live.subject import Subject
    from tensionear.live.told import Told
    from tensionear.reading import Reading, Units
    from tensionear.records.log import OpenRound
    from tensionear.records.values import Asked

MOST_PLUCKS = 5
_USUAL_PLUCKS = 2
_RING_ON_S = 0.3  # after the last pluck that was kept a recording is gone on with


def listen(
    wheel: Annotated[str | None, typer.Argument(metavar="[WHEEL]", help="The wheel file (TOML).")] = None,
    spokes: Annotated[int | None, typer.Option(metavar="N", help="Only the number of spokes: evenness alone.")] = None,
    sound: Annotated[
        str | None, typer.Option("--from", metavar="SOUND", help="Play a recording as if it were the microphone.")
    ] = None,
    fast: Annotated[bool, typer.Option("--fast", help="With --from: not in real time.")] = False,
    spoke: Annotated[
        int | None, typer.Option(metavar="N", help="Stay on this spoke while you turn its nipple.")
    ] = None,
    target: Annotated[float | None, typer.Option(metavar="NEWTON", help="With --spoke: where it is to go.")] = None,
    plucks: Annotated[int | None, typer.Option(metavar="1..5", help="Agreeing plucks that accept a spoke.")] = None,
    first: Annotated[int, typer.Option(metavar="N", help="The spoke the round starts at.")] = 1,
    order: Annotated[Order, typer.Option(help="In what order the spokes are plucked.")] = "rim",
    direction: Annotated[Direction, typer.Option(help="Which way round, seen from the right.")] = "cw",
    missing: Annotated[
        list[int] | None, typer.Option(metavar="N", help="A spoke to leave out; may be repeated.")
    ] = None,
    out_of: Annotated[
        str | None,
        typer.Option(
            metavar="last|ROUND|FILE",
            help="Only the spokes this reading found out of their limits: the wheel's last round in the log, a round, JSON.",
        ),
    ] = None,
    crossing: Annotated[Crossing | None, typer.Option(help="How spokes meet where they cross.")] = None,
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on with the last unfinished round of this wheel, in its own order.")
    ] = False,
    no_audio: Annotated[bool, typer.Option("--no-audio", help="Keep no sound: it cannot be read anew then.")] = False,
    log: Annotated[
        str | None, typer.Option(metavar="FILE", help="The log it is kept in; the usual one unless given.")
    ] = None,
    wanted: Annotated[
        str | None, typer.Option("--input", metavar="NAME", help="The microphone, number or name.")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="No tones.")] = False,
    plain: Annotated[bool, typer.Option("--plain", help="One line a pluck, no screen.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="End with the reading as JSON on standard output.")] = False,
    no_calibration: Annotated[bool, typer.Option("--no-calibration", help="Leave kept calibrations out.")] = False,
) -> None:
    """A round as it is plucked, live or from a recording: plucks lead through it, keys are optional."""
    subject = _subject(wheel, spokes, spoke, not no_calibration)
    _check(sound, fast, plucks, wanted, target, spoke)
    left_out = set(missing or ())
    if out_of is not None:
        reading, source = earlier_reading(Wanted(out_of, log, subject.title, subject.spokes))
        left_out |= set(range(1, subject.spokes + 1)) - set(out_of_limits(reading, source))
        subject = _beside(subject, reading)
    options = RoundOptions(order, direction, tuple(sorted(left_out)), crossing=crossing)
    asked = asked_of(Plucked(spokes=spokes, first=first), wheel, None, options)
    keeping = _keeping(subject, asked, _Asking(log, resume, not no_audio, spoke is not None), sound)
    making = _Making(subject, plucks, quiet or sound is not None, sound, keeping)
    with _source(sound, fast, wanted, keeping.until_s) as found:
        _run(making, found, _Form(plain, as_json), spoke, target)


@dataclass(frozen=True, slots=True)
class _Form:
    """How the round is shown."""

    plain: bool
    as_json: bool

    @property
    def has_screen(self) -> bool:
        """Whether there is a terminal to draw on; the screen is drawn on standard error, JSON goes to standard output."""
        import os

        streams = (sys.stdin, sys.stderr) if self.as_json else (sys.stdin, sys.stdout, sys.stderr)
        terminal = all(stream is not None and stream.isatty() for stream in streams)
        return not self.plain and terminal and os.environ.get("TERM", "dumb") != "dumb"


@dataclass(frozen=True, slots=True)
class _Found:
    """Where the sound comes from, and what is known of it beforehand."""

    live: LiveSource
    channels: int
    channel: int | None
    notes: Callable[[], tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class _Keeping:
    """How the round is kept, what is plucked in it and how, and what was kept of it before."""

    keeper: Keeper
    asked: Asked
    kept: tuple[Restored, ...] = ()

    @property
    def until_s(self) -> float:
        """Up to where in a recording the round was kept."""
        return max((each.onset_s + _RING_ON_S for each in self.kept), default=0.0)


@dataclass(frozen=True, slots=True)
class _Making:
    """All that a session is made of but its source."""

    subject: Subject
    plucks: int | None
    quiet: bool
    sound: str | None
    keeping: _Keeping

    def session(self, name: str, tell: Callable[[Told], None]) -> Session:
        """The session."""
        from tensionear.live.session import Session
        from tensionear.live.told import Setup

        recorded = self.sound is not None
        needed = self.plucks or (1 if recorded else _USUAL_PLUCKS)
        asked = self.keeping.asked
        setup = Setup(name, asked.first, asked.options, needed, recorded and self.plucks is None)
        session = Session(self.subject, setup, self.keeping.keeper, _no_sound if self.quiet else player(), tell)
        session.restore(self.keeping.kept, self.keeping.until_s if recorded else 0.0)
        return session


def _run(making: _Making, found: _Found, form: _Form, spoke: int | None, target: float | None) -> None:
    """Listen to the end, show it, and end with the reading."""
    from tensionear.dashboard.live.lines import PlainLines
    from tensionear.live.engine import Engine

    units = _units(making.subject)
    lines = PlainLines(_write, making.subject, making.plucks or (1 if making.sound else _USUAL_PLUCKS), units)
    screen = form.has_screen
    tell = _nothing if screen or form.as_json else lines.tell
    session = making.session(found.live.name, tell)
    lines.turning = lambda: session.turning
    if spoke is not None:
        session.turn(spoke, target)
    engine = Engine(session, found.live, found.channels, found.channel, reads_along=screen)
    code = 0
    if screen:
        from tensionear.dashboard.live.app import show_live

        code = show_live(engine, making.subject, units)
    else:
        if spoke is not None and not form.as_json:
            from tensionear.dashboard.live.words import CAUTIONS

            for caution in CAUTIONS:
                _write(caution)
        from tensionear.capture.microphone import libraries_quiet

        with libraries_quiet():
            code = _hear(engine)
    if engine.failed is not None:
        raise engine.failed
    if spoke is None:
        _finish(session, found.notes(), form)
    if code:
        raise typer.Exit(code)


def _units(subject: Subject) -> Units:
    """What newtons are shown in; a wheel that is not described has none."""
    from tensionear.live.subject import WheelSubject

    return shown_units(subject.wheel.units if isinstance(subject, WheelSubject) else "N")


def _hear(engine: Engine) -> int:
    """Hear in this thread; signals end it as a key would, and the round is kept. Gives the exit code."""
    caught: list[int] = []

    def end(number: int, frame: object) -> None:  # noqa: ARG001 - a signal handler's form
        caught.append(number)
        engine.stop()

    kinds = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGINT") if hasattr(signal, name)]
    main = threading.current_thread() is threading.main_thread()
    before = {kind: signal.signal(kind, end) for kind in kinds} if main else {}
    try:
        engine.run()
    finally:
        for kind, handler in before.items():
            signal.signal(kind, handler)
    return 128 + caught[0] if caught else 0


def _finish(session: Session, notes: tuple[str, ...], form: _Form) -> None:
    """The reading of the whole round."""
    from .show import show, show_json

    if session.setup.named_by_whole or session.round.accepted:
        reading = session.read(notes)
        if session.round.complete:
            session.close(reading)
        if form.as_json:
            show_json([reading])
        else:
            _write("")
            show(reading, "plain" if form.plain or not sys.stdout.isatty() else "picture")
    elif form.as_json:
        show_json([])


def _subject(wheel: str | None, spokes: int | None, spoke: int | None, with_calibration: bool) -> Subject:
    from tensionear.live.subject import CountSubject, WheelSubject

    if (wheel is None) == (spokes is None):
        given = "both given" if wheel else "none of them given"
        raise UsageError(f"a wheel file and --spokes N: {given}; give one of the two")
    if wheel is None:
        assert spokes is not None
        if spoke is not None:
            raise UsageError(f"--spoke {spoke} needs a wheel file: without it there is no tension to turn to")
        return CountSubject(spokes)
    from tensionear.loading import load_wheel

    described = load_wheel(wheel)
    if with_calibration:
        from tensionear.calibration.use import calibrated

        described = calibrated(described)
    if spoke is not None and not 1 <= spoke <= described.spokes:
        raise UsageError(f"--spoke {spoke} is no spoke of this wheel; give 1 to {described.spokes}")
    return WheelSubject(described)


def _beside(subject: Subject, reading: Reading) -> Subject:
    """The subject, with what was read of it before."""
    from tensionear.live.subject import WheelSubject

    if not isinstance(subject, WheelSubject):
        return subject
    return WheelSubject(
        subject.wheel, {each.spoke: each.tension_n for each in reading.spokes if each.tension_n is not None}
    )


@dataclass(frozen=True, slots=True)
class _Asking:
    """What is asked of the log."""

    log: str | None
    resume: bool
    with_sound: bool
    turning: bool


def _keeping(subject: Subject, asked: Asked, asking: _Asking, sound: str | None) -> _Keeping:
    """A new round in the log, or the one to go on with."""
    from tensionear.live.keeping import KeepsNothing, LogKeeper, latest_unfinished, restored
    from tensionear.records.log import Log
    from tensionear.records.states import state_of_wheel

    log = Log(asking.log)
    if asking.resume:
        opened = latest_unfinished(log, subject.title)
        keeper = LogKeeper(lambda: opened, subject.label, asking.with_sound, None)
        begun = log.load(opened.id).asked
        options = replace(begun.options, crossing=asked.options.crossing or begun.options.crossing)
        known = replace(asked, first=begun.first, options=options)
        return _Keeping(KeepsNothing() if asking.turning else keeper, known, restored(opened))
    if asking.turning:
        return _Keeping(KeepsNothing(), asked)

    def begin() -> OpenRound:
        return log.open_round(asked, subject.title, state_of_wheel(asked.wheel_text))

    recording = None if sound is None else Path(sound)
    return _Keeping(LogKeeper(begin, subject.label, asking.with_sound, recording), asked)


def _check(
    sound: str | None, fast: bool, plucks: int | None, wanted: str | None, target: float | None, spoke: int | None
) -> None:
    """Options that do not fit together."""
    if plucks is not None and not 1 <= plucks <= MOST_PLUCKS:
        raise UsageError(f"--plucks {plucks} is not 1 to {MOST_PLUCKS}; 2 serves most")
    if fast and sound is None:
        raise UsageError("--fast is for recordings; give --from SOUND, or leave it out")
    if wanted is not None and sound is not None:
        raise UsageError(f"--input {wanted} and --from {sound} are two sources of sound; keep one of them")
    if target is not None and spoke is None:
        raise UsageError(f"--target {target:g} is for one spoke; say which with --spoke N")
    if target is not None and not 1 <= target <= 5000:
        raise UsageError(f"--target {target:g} N is no tension of a spoke (1 to 5000 N); correct it")


@contextmanager
def _source(sound: str | None, fast: bool, wanted: str | None, at_once_s: float) -> Iterator[_Found]:
    """A file played, or the microphone, closed at the end."""
    if sound is None:
        from tensionear.capture.microphone import open_microphone

        microphone = open_microphone(wanted)
        try:
            yield _Found(microphone, microphone.channels, None, microphone.notes)
        finally:
            microphone.stop()
        return
    from tensionear.capture.checks import check_rate
    from tensionear.capture.files import open_sound
    from tensionear.live.session import channel_of
    from tensionear.live.source import PlayedFile

    source: AudioSource = open_sound(sound)
    check_rate(source.name, source.sample_rate_hz)
    channel, why = channel_of(source)

    def notes() -> tuple[str, ...]:
        return tuple(text for text in (why, *source.notes()) if text)

    yield _Found(PlayedFile(source, fast, at_once_s), source.channels, channel, notes)


def player() -> Callable[[Cue], None]:
    """Plays cues over the loudspeaker, from a thread of its own: opening it takes longer than hearing can wait.

    Without a loudspeaker the round goes on in silence.
    """
    from tensionear.capture.microphone import play_through, sound_system
    from tensionear.errors import DeviceError
    from tensionear.live.tones import RATE_HZ, cue_tone

    system = sound_system()
    waiting: queue.SimpleQueue[Cue] = queue.SimpleQueue()

    def play_all() -> None:
        while True:
            cue = waiting.get()
            with suppress(DeviceError):
                play_through(system, cue_tone(cue), RATE_HZ)

    threading.Thread(target=play_all, daemon=True).start()
    return waiting.put


def _no_sound(cue: Cue) -> None:
    """Be quiet."""


def _nothing(told: Told) -> None:
    """Tell nobody."""


def _write(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
