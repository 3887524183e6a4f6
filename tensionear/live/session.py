"""A round from its sound: ear, subject, machine and keeper strung together, without threads. Imports its siblings.

Everything that happens goes through `Session`; whoever shows it takes a `Snapshot`, which never changes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from tensionear.capture.levels import level_of
from tensionear.capture.microphone import Piece
from tensionear.errors import LogError
from tensionear.listening import Listened, Strike, without_sound
from tensionear.reading import Reading
from tensionear.readings.plucks import ADVICE, fault_of, reason_of

from . import machine, turning
from .again import HeardBefore
from .checklist import Checklist, Item, expected_n, kept_by_walk
from .ear import SAME_S, Heard, LiveEar, Rehearing
from .events import (
    Accept,
    Asked,
    Cue,
    Effect,
    Event,
    FoundOut,
    Knocked,
    Microphoned,
    Named,
    Note,
    Passed,
    Plucked,
    Refused,
    Sound,
    Withdraw,
)
from .keeping import Keeper, KeptPluck, Restored
from .machine import Round
from .memory import Memory, names_of, near, reading_job, tensions_of
from .spoilt import Spoilt
from .subject import Subject, WheelSubject, lines_of
from .told import SILENT, Setup, Snapshot, Told, told_of
from .turning import Turning

_PLUCK, _GLANCE, _TOLD_NOVELTY_DB = 0.5, 0.4, 12.0
_KNOCKS = ("knock", "weak", "noise")
_APART_S = 2.0  # between a round that was kept and its continuation
_BY_HAND = ("back", "skip", "redo", "jump", "out")


class Session:
    """A round as it grows.

    Parameters
    ----------
    subject : Subject
    setup : Setup
    keeper : Keeper
    sound : callable
        Plays a cue; does nothing if the user wants it quiet.
    tell : callable
        Takes each `Told`.
    """

    def __init__(
        self,
        subject: Subject,
        setup: Setup,
        keeper: Keeper,
        sound: Callable[[Cue], None],
        tell: Callable[[Told], None],
    ) -> None:
        self.subject, self.setup = subject, setup
        self._keeper, self._sound, self._tell = keeper, sound, tell
        self._ear: LiveEar | None = None
        self._expectations = subject.expectations()
        sides = {spoke: subject.side(spoke) for spoke in range(1, subject.spokes + 1)}
        self.round = Round(subject.plan(setup.first, setup.options), setup.plucks, sides=MappingProxyType(sides))
        self.turning: Turning | None = None
        self.checklist: Checklist | None = None
        self.reading: Reading | None = None
        self._memory = Memory(subject.hears_again)
        self._before = HeardBefore()
        self._stale: dict[int, float] = {}
        self._spoilt = Spoilt()
        self._level = SILENT
        self._rate_hz = 0.0
        self._told = 0
        self._start_s = 0.0
        self.revision = 0

    def restore(self, kept: Sequence[Restored], again_until_s: float = 0.0) -> None:
        """Take up a round that was kept: its sounds are heard again, with whatever the wheel file says by now.

        Parameters
        ----------
        kept : sequence of Restored
        again_until_s : float
            Up to here the sound to come is the recording these are of. 0: it is a microphone, which begins anew.
        """
        known = tuple(each for each in kept if each.spoke in self.round.plan)
        if again_until_s:
            self._before = HeardBefore(known, again_until_s)
        else:
            self._start_s = max((each.onset_s + _APART_S for each in known), default=self._start_s)
        rehearing = Rehearing(self._expectations)
        for part in kept_by_walk(self.checklist, known) if self.checklist else [known]:
            self._next_walk()
            self.round = machine.restored(self.round, self._memory.restore(part, rehearing))
        self._next_walk()
        if known:
            spokes = len({each.spoke for each in known})
            self._say(Told("resumed", text=f"going on: {spokes} of {len(self.round.plan)} spokes were kept"))

    def follow(self, checklist: Checklist) -> None:
        """Pluck what a turn plan turns, in its order."""
        self.checklist = checklist
        self.round = replace(self.round, plan=checklist.spokes)

    def _next_walk(self) -> None:
        """Go on with the next walk of the turn plan, once this one is done."""
        if self.checklist is not None and self.round.complete and not self.checklist.is_last_walk:
            self.checklist, self.round = self.checklist.next_walk(self.round)
            self._memory.accepted.clear()

    # what comes in

    def listen_to(self, sample_rate_hz: float, channels: int, channel: int | None) -> None:
        """Sound will come like this from now on."""
        start_s = self._now_s
        self._finish_ear()
        self._rate_hz = sample_rate_hz
        self._ear = LiveEar(sample_rate_hz, channel if channels > 1 else 0, self._expectations, start_s)

    def push(self, piece: Piece) -> None:
        """Take the next piece of sound."""
        assert self._ear is not None
        if piece.doubtful:
            self._spoilt.lost(self._now_s)
        heard = self._ear.push(piece.samples)
        self._level = level_of(piece.samples[:, self._ear.channel if piece.samples.shape[1] > 1 else 0])
        for each in heard:
            self._take(each)
        self._step(Passed(self._now_s))

    def ask(self, asked: Asked) -> None:
        """A key, or what stands for one; whoever leads by hand names the plucks."""
        if asked.action == "out" and self.checklist is not None:
            return
        if asked.action in _BY_HAND:
            self.setup = replace(self.setup, named_by_whole=False)
        self._step(asked)

    def microphone(self, trouble: str | None, text: str) -> None:
        """The microphone went, or is back."""
        self._step(Microphoned(trouble))
        self._say(Told("microphone", text=text))

    def turn(self, spoke: int | None, target_n: float | None = None) -> None:
        """Stay on a spoke and turn it; None goes back to the round."""
        if spoke is None or not isinstance(self.subject, WheelSubject):
            if self.turning is not None:
                self._stale |= self.turning.stale()
            self.turning = None
        else:
            aim_n = expected_n(self.items(), spoke) if target_n is None else target_n
            self.turning = turning.turning_of(self.subject.wheel, spoke, self.tensions_n(), aim_n)
        self.revision += 1

    def take_reading(self, reading: Reading) -> None:
        """The round so far was read so."""
        self.reading = reading
        if self.setup.named_by_whole:
            by_onset = {pluck.onset_s: pluck.spoke for pluck in reading.plucks if pluck.spoke is not None}
            names = {
                onset_s: spoke
                for onset_s in (each.onset_s for taken in self.round.accepted.values() for each in taken)
                if (spoke := near(by_onset, onset_s)) is not None
            }
            self._rename(names)
        self._step(FoundOut(tuple(each.spoke for each in reading.spokes if each.verdict == "out")))

    def _rename(self, names: Mapping[float, int]) -> None:
        """What was kept under another name is kept anew."""
        before = {each.onset_s: spoke for spoke, taken in self.round.accepted.items() for each in taken}
        values = {each.onset_s: each.value for taken in self.round.accepted.values() for each in taken}
        self._step(Named(names))
        for spoke, taken in self.round.accepted.items():
            for each in taken:
                if before[each.onset_s] != spoke:
                    self._keep_anew(self._memory.kept(spoke, {each.onset_s: values[each.onset_s]}))

    def _keep_anew(self, kept: tuple[KeptPluck, ...]) -> None:
        if kept:
            self._guarded(lambda: self._keeper.accept(kept))

    def close(self, reading: Reading) -> None:
        """The round is over and was read so."""
        self._guarded(lambda: self._keeper.close(reading))

    def finish(self) -> None:
        """The sound is at its end."""
        self._finish_ear()
        self._step(Passed(self._now_s + 10.0))

    # what comes out

    @property
    def _now_s(self) -> float:
        return self._ear.now_s if self._ear is not None else self._start_s

    def snapshot(self) -> Snapshot:
        """All there is to show."""
        stale = dict(self._stale)
        if self.turning is not None:
            stale |= self.turning.stale()
        shown = (self.round, self.turning, self.reading, self._level, self._now_s, stale, self._told)
        return Snapshot(*shown, self.items())

    def items(self) -> tuple[Item, ...]:
        """The turns of the plan that is followed, and what was heard after them; none without a plan."""
        return () if self.checklist is None else self.checklist.items(self.round)

    def listened(self, warnings: tuple[str, ...] = ()) -> Listened:
        """Everything heard so far, as a recording's would be."""
        return self._memory.listened(self._now_s, self._rate_hz, warnings)

    @property
    def over(self) -> bool:
        """Whether there is nothing more to hear: the user quit, or closed the lap (a file is heard to its end)."""
        if self.checklist is not None and self.checklist.is_last_walk and self.round.complete:
            return True
        return self.round.ended and not (self.setup.named_by_whole and self.round.closed)

    def read(self, warnings: tuple[str, ...] = ()) -> Reading:
        """The round so far, read at leisure: what may be heard or looked at again is."""
        return self._reading_job(replace(self.listened(warnings), plucks=tuple(self._memory.sounds)))()

    def reading_job(self, warnings: tuple[str, ...] = ()) -> Callable[[], Reading]:
        """The same in short, as a job that another thread may do: it touches nothing of the session."""
        heard = self.listened(warnings)
        return self._reading_job(replace(heard, strikes=tuple(without_sound(each) for each in heard.strikes)))

    def _reading_job(self, listened: Listened) -> Callable[[], Reading]:
        return reading_job(self.setup, self.subject, listened, names_of(self.round, listened))

    def tensions_n(self) -> dict[int, float]:
        """What is known of the spokes."""
        return tensions_of(self.round, self.reading)

    # between

    def _finish_ear(self) -> None:
        if self._ear is not None:
            for each in self._ear.flush():
                self._take(each)

    def _take(self, heard: Heard) -> None:
        """A strike at one of its stages."""
        strike = heard.strike
        if self._before.covers(strike.onset_s):
            self._take_again(heard)
            return
        if heard.stage == "whole":
            self._take_whole(heard)
            return
        likely = strike.probability > (_GLANCE if heard.stage == "first" else _PLUCK)
        if not likely or fault_of(strike) is not None:
            if heard.stage == "last":
                self._refuse(strike)
            return
        event = self._plucked(heard)
        if event is None:
            return
        if event.final:
            self._memory.last_word(strike, heard.pluck)
        self._step(event)

    def _plucked(self, heard: Heard) -> Plucked | None:
        strike, final = heard.strike, heard.stage != "first"
        first_guess = self.subject.glance(self._spoke(), strike)
        if first_guess is None:
            return None
        lines = lines_of(strike)
        spoke = self._spoke() if self.turning else machine.whose(self.round, strike.onset_s, lines)
        value = self.subject.weigh(spoke, strike, self._memory.accepted) if final else first_guess
        if value is None:
            return None
        doubtful = self._spoilt.is_doubtful(strike.onset_s, strike.onset_s + strike.ring_s)
        return Plucked(strike.onset_s, self._now_s, lines, value, final, doubtful)

    def _spoke(self) -> int:
        return self.turning.spoke if self.turning else self.round.spoke

    def _refuse(self, strike: Strike) -> None:
        """Something that is no pluck: a tap, or one thing to change; our own tones are neither."""
        if self._spoilt.is_own_tone(strike.onset_s):
            return
        reason = fault_of(strike) or reason_of(strike)
        if reason in _KNOCKS and strike.novelty_db > _TOLD_NOVELTY_DB:
            self._step(Knocked(strike.onset_s))
        if strike.novelty_db > _TOLD_NOVELTY_DB or reason in ("clipped", "gated"):
            self._step(Refused(strike.onset_s, reason, ADVICE[reason]))
            self._say(Told("refused", code=reason, text=ADVICE[reason]))

    def _take_whole(self, heard: Heard) -> None:
        """The whole ring: what the round is read from, and what is kept in place of the shorter one."""
        strike = heard.strike
        if not self._memory.whole(strike, heard.pluck):
            return
        for spoke, taken in self.round.accepted.items():
            for each in taken:
                if abs(each.onset_s - strike.onset_s) < SAME_S:
                    self._keep_anew((KeptPluck(each.onset_s, spoke, each.value, heard.pluck),))
                    return

    def _take_again(self, heard: Heard) -> None:
        """What was heard before: it is remembered, and what was kept of it too short is kept whole."""
        strike, pluck = heard.strike, heard.pluck
        before = self._before.pluck_at(strike.onset_s)
        if heard.stage == "whole":
            self._memory.whole(strike, pluck)
            if before is not None and before.sound is not None and len(before.sound.samples) < len(pluck.samples):
                self._keep_anew((KeptPluck(before.onset_s, before.spoke, before.value, pluck),))
        elif heard.stage != "first" and before is not None:
            self.round = machine.heard_again(self.round, before.spoke, self._memory.hear_again(before, strike, pluck))

    def _step(self, event: Event) -> None:
        """One step; what is to be kept is kept before the new state can be seen."""
        if self.turning is not None and isinstance(event, Plucked):
            self.turning, effects = turning.step(self.turning, event)
            self.revision += 1
            if event.final:
                self._say(Told("turning", self.turning.spoke, event.value))
            self._carry_out(effects)
            return
        before = self.round
        after, effects = machine.step(before, event)
        if not self._carry_out(effects, after):
            return
        if after is not before:
            self.round = after
            self.revision += not isinstance(event, Passed) or bool(effects)
        if isinstance(event, Plucked) and event.final and not before.ended and not before.paused:
            for told in told_of(before, after, event):
                self._say(told)
        self._next_walk()

    def _carry_out(self, effects: tuple[Effect, ...], after: Round | None = None) -> bool:
        """Do what is to be done; False if it could not be kept."""
        for effect in effects:
            match effect:
                case Accept(spoke, onsets_s):
                    if not self._guarded(lambda s=spoke, o=onsets_s: self._keep(s, o, after)):  # type: ignore[misc]
                        return False
                case Withdraw(spoke):
                    if not self._guarded(lambda s=spoke: self._keeper.withdraw(s)):  # type: ignore[misc]
                        return False
                    self._memory.accepted.pop(spoke, None)
                case Note(spoke, text):
                    self._guarded(lambda s=spoke, t=text: self._keeper.note(s, t))  # type: ignore[misc]
                case Sound(cue):
                    self.play(cue)
        return True

    def play(self, cue: Cue) -> None:
        """Let a tone sound; what is heard of it is not the wheel's."""
        self._spoilt.tone(self._now_s)
        self._sound(cue)

    def _keep(self, spoke: int, onsets_s: tuple[float, ...], after: Round | None) -> None:
        values = {each.onset_s: each.value for each in after.accepted.get(spoke, ())} if after else {}
        kept = self._memory.kept(spoke, {each: values[each] for each in onsets_s if each in values})
        self._keeper.accept(kept)
        self._memory.accept(spoke, kept)
        self._stale.pop(spoke, None)

    def _guarded(self, keep: Callable[[], None]) -> bool:
        """Keep something; a full disk is told and does not end the round."""
        try:
            keep()
        except LogError as error:
            text = f"not kept: {error}; then pluck this spoke again"
            self.round = replace(self.round, said=("not-kept", text), taken=())
            self._say(Told("refused", code="not-kept", text=text))
            return False
        return True

    def _say(self, told: Told) -> None:
        self._told += 1
        self.revision += 1
        self._tell(told)
