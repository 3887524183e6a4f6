"""The live screen: a thread hears, this draws what it last knew and hands keys over. Imports picture and live; Textual.

All that is drawn comes from `picture.draw`; here is only what a terminal needs: keys, size, signals, and being left sane.
"""

from __future__ import annotations

import asyncio
import os
import signal
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from rich.console import Group
from textual.app import App, ComposeResult
from textual.events import Key
from textual.widgets import Static

from tensionear.dashboard.glyphs import glyphs_for
from tensionear.dashboard.palette import NO_COLOUR, RICH_COLOURS
from tensionear.live.engine import Engine
from tensionear.live.events import Action, Asked
from tensionear.live.subject import Subject
from tensionear.reading import Units

from .picture import Look, draw

_FRAMES_S = 1 / 20
_STOP_S = 3.0
_ACTIONS: dict[str, Action] = {"b": "back", "s": "skip", "r": "redo", "p": "pause", "o": "out"}
#: Keys that hands in gloves hit: the space bar goes on, the arrows too.
_ALSO: dict[str, Action] = {"space": "skip", "right": "skip", "left": "back", "backspace": "back"}
_INTERRUPTED = 130


class LiveScreen(App[int]):
    """A round on the terminal."""

    CSS = "Screen { overflow: hidden; } Static { height: 100%; width: 100%; }"
    ENABLE_COMMAND_PALETTE = False

    def __init__(self, engine: Engine, subject: Subject, units: Units = "N") -> None:
        super().__init__(ansi_color=True)
        self._engine, self._subject, self._units = engine, subject, units
        self._asking: Action | None = None
        self._typed = ""
        self._palette = NO_COLOUR if os.environ.get("NO_COLOR") else RICH_COLOURS
        self._glyphs = glyphs_for(getattr(sys.__stderr__, "encoding", None) or "utf-8")

    def compose(self) -> ComposeResult:
        """One field that is drawn anew."""
        yield Static(id="all", markup=False)

    def on_mount(self) -> None:
        """Draw at a steady pace; signals end it as a key does, so that the terminal is put back."""
        self.set_interval(_FRAMES_S, self.redraw)
        loop = asyncio.get_running_loop()
        for name in ("SIGTERM", "SIGHUP"):
            kind = getattr(signal, name, None)
            if kind is not None and threading.current_thread() is threading.main_thread():
                with suppress(NotImplementedError):  # Windows
                    loop.add_signal_handler(kind, self._end, 128 + int(kind))
        self.redraw()

    def redraw(self) -> None:
        """Show what the engine last knew; go when it has ended."""
        if self._engine.ended.is_set():
            self._end(0)
            return
        typed = None if self._asking is None else f"{_QUESTION[self._asking]} {self._typed}"
        look = Look(
            max(self.size.width, 40), max(self.size.height, 12), self._glyphs, self._palette, typed, self._units
        )
        lines = draw(self._engine.latest, self._subject, look)
        # While the screen is put up or taken down the timer may find none of it.
        for every in self.query("#all").results(Static):
            every.update(Group(*lines))

    def on_key(self, event: Key) -> None:
        """One key, one thing; numbers and notes are typed and sent with return."""
        event.stop()
        if self._asking is not None:
            self._type(event)
        elif event.key in ("q", "ctrl+c", "ctrl+q"):
            self._engine.ask(Asked("quit"))
            self._engine.stop()
            self._end(0)
        elif event.key == "t":
            turning = self._engine.latest.turning
            shown = self._engine.latest.round.shown
            self._engine.turn(None if turning else shown.spoke if shown else self._engine.latest.round.spoke)
        elif event.key in ("j", "n"):
            self._asking, self._typed = ("jump" if event.key == "j" else "note"), ""
        elif event.key in _ACTIONS or event.key in _ALSO:
            self._engine.ask(Asked({**_ACTIONS, **_ALSO}[event.key]))
        self.redraw()

    async def action_quit(self) -> None:
        """As the key q."""
        self._end(0)

    def _type(self, event: Key) -> None:
        if event.key == "escape":
            self._asking = None
        elif event.key == "backspace":
            self._typed = self._typed[:-1]
        elif event.key == "enter":
            asking, self._asking = self._asking, None
            if asking == "note" and self._typed:
                self._engine.ask(Asked("note", text=self._typed))
            elif asking == "jump":
                self._jump(self._typed)
        elif event.character and event.is_printable:
            self._typed += event.character

    def _jump(self, typed: str) -> None:
        """A spoke by number or label."""
        labels = {self._subject.label(spoke).lower(): spoke for spoke in range(1, self._subject.spokes + 1)}
        spoke = int(typed) if typed.isdecimal() else labels.get(typed.strip().lower())
        self._engine.ask(Asked("jump", spoke=spoke or 0))

    def _end(self, code: int) -> None:
        self._engine.stop()
        self.exit(return_code=code)


_QUESTION: dict[Action, str] = {"jump": "jump to spoke (number or label, then return):", "note": "note:"}


def show_live(engine: Engine, subject: Subject, units: Units) -> int:
    """Hear in a thread and show it, newtons in ``units``, until either ends; gives the exit code."""
    thread = threading.Thread(target=engine.run, daemon=True)
    with _own_screen():
        thread.start()
        app = LiveScreen(engine, subject, units)
        app.run()
        engine.stop()
        thread.join(_STOP_S)
    return _INTERRUPTED if app.return_code is None else app.return_code


@contextmanager
def _own_screen() -> Iterator[None]:
    """Keep what sound libraries write to file descriptor 2 off the screen, which is drawn through a copy of it."""
    screen, before = os.dup(2), sys.__stderr__
    with tempfile.TemporaryFile() as noise, os.fdopen(screen, "w", encoding="utf-8", errors="replace") as stream:
        sys.__stderr__ = stream  # type: ignore[misc]
        os.dup2(noise.fileno(), 2)
        try:
            yield
        finally:
            stream.flush()
            os.dup2(screen, 2)
            sys.__stderr__ = before  # type: ignore[misc]
