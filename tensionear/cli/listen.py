"""``tensionear listen``: a round as it is plucked. Imports options and errors; all that is heavy when it runs."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from tensionear.errors import UsageError
from tensionear.options import Crossing, Direction, Order, RoundOptions

from .earlier import Wanted, earlier_reading, out_of_limits
from .following import NOTE, pass_of, show_pass
from .keep import asked_of
from .livekeeping import Asking, Keeping, keeping_of
from .livesound import Found, no_sound, player, source_of
from .read import Subject as Plucked
from .show import shown_units

if TYPE_CHECKING:
    from tensionear.live.checklist import Checklist
    from tensionear.live.engine import Engine
    from tensionear.live.session import Session
    from tensionear.live.subject import Subject
    from tensionear.live.told import Told
    from tensionear.reading import Units
    from tensionear.wheel.model import Wheel

MOST_PLUCKS = 5
_USUAL_PLUCKS = 2


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
    plan: Annotated[
        str | None,
        typer.Option(
            metavar="FILE|last|ROUND",
            help="Follow a turn plan: one that was kept (JSON), or one made now from a reading. Ticks off each nipple "
            "as its spoke is plucked again.",
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
    if plan is not None and (spoke is not None or out_of is not None):
        raise UsageError(f"--plan {plan} says which spokes to pluck; leave out --spoke and --out-of")
    left_out, checklist = set(missing or ()), None
    every = set(range(1, subject.spokes + 1))
    if out_of is not None:
        reading, source = earlier_reading(Wanted(out_of, log, subject.title, subject.spokes))
        left_out |= every - set(out_of_limits(reading, source))
        subject = _beside(
            subject, {each.spoke: each.tension_n for each in reading.spokes if each.tension_n is not None}
        )
    if plan is not None:
        following = pass_of(plan, log, _described(subject, plan))
        checklist = following.checklist
        left_out = every - {turn.spoke for walk in checklist.walks for turn in walk}
        subject = _beside(subject, following.tensions_n)
    options = RoundOptions(order, direction, tuple(sorted(left_out)), crossing=crossing)
    asked = asked_of(Plucked(spokes=spokes, first=first), wheel, None, options)
    asking = Asking(log, resume, not no_audio, spoke is not None, "" if plan is None else NOTE)
    keeping = keeping_of(subject, asked, asking, sound)
    making = _Making(subject, plucks, quiet or sound is not None, sound, keeping, checklist)
    with source_of(sound, fast, wanted, keeping.until_s) as found:
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
class _Making:
    """All that a session is made of but its source."""

    subject: Subject
    plucks: int | None
    quiet: bool
    sound: str | None
    keeping: Keeping
    checklist: Checklist | None

    @property
    def named_by_whole(self) -> bool:
        """Whether the whole of a recording tells which pluck is which, as ``read`` does it."""
        return self.sound is not None and self.plucks is None and self.checklist is None

    @property
    def needed(self) -> int:
        """Agreeing plucks that accept a spoke."""
        return self.plucks or (1 if self.named_by_whole else _USUAL_PLUCKS)

    def session(self, name: str, tell: Callable[[Told], None]) -> Session:
        """The session."""
        from tensionear.live.session import Session
        from tensionear.live.told import Setup

        asked = self.keeping.asked
        setup = Setup(name, asked.first, asked.options, self.needed, self.named_by_whole)
        session = Session(self.subject, setup, self.keeping.keeper, no_sound if self.quiet else player(), tell)
        if self.checklist is not None:
            session.follow(self.checklist)
        session.restore(self.keeping.kept, 0.0 if self.sound is None else self.keeping.until_s)
        return session


def _run(making: _Making, found: Found, form: _Form, spoke: int | None, target: float | None) -> None:
    """Listen to the end, show it, and end with the reading."""
    from tensionear.dashboard.live.lines import PlainLines
    from tensionear.live.engine import Engine

    units = _units(making.subject)
    lines = PlainLines(_write, making.subject, making.needed, units)
    screen = form.has_screen
    tell = _nothing if screen or form.as_json else lines.tell
    session = making.session(found.live.name, tell)
    lines.turning, lines.items = lambda: session.turning, session.items
    if spoke is not None:
        session.turn(spoke, target)
    follows = making.checklist is not None
    engine = Engine(session, found.live, found.channels, found.channel, reads_along=screen and not follows)
    code = 0
    if screen:
        from tensionear.dashboard.live.app import show_live

        code = show_live(engine, making.subject, units)
    else:
        if not form.as_json and (spoke is not None or follows):
            lines.tell_cautions()
            lines.tell_next()
        from tensionear.capture.microphone import libraries_quiet

        with libraries_quiet():
            code = _hear(engine)
    if engine.failed is not None:
        raise engine.failed
    if spoke is None:
        _finish(session, found.notes(), form, units)
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


def _finish(session: Session, notes: tuple[str, ...], form: _Form, units: Units) -> None:
    """The reading of the whole round; of a turn plan, what was turned and heard."""
    from .show import show, show_json

    if session.checklist is not None:
        if session.over and session.round.accepted:
            session.close(session.read(notes))
        document = session.checklist.to_dict(session.round) if form.as_json else None
        show_pass(session.items(), document, units, _write)
        return
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


def _beside(subject: Subject, tensions_n: Mapping[int, float]) -> Subject:
    """The subject, with what was read of it before."""
    from tensionear.live.subject import WheelSubject

    return WheelSubject(subject.wheel, tensions_n) if isinstance(subject, WheelSubject) else subject


def _described(subject: Subject, plan: str) -> Wheel:
    from tensionear.live.subject import WheelSubject

    if not isinstance(subject, WheelSubject):
        raise UsageError(f"--plan {plan} needs a wheel file: without it nobody knows how the wheel answers")
    return subject.wheel


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


def _nothing(told: Told) -> None:
    """Tell nobody."""


def _write(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
