"""Reads the terminal. A byte that is not UTF-8, as an old gauge may send, and a broken escape sequence end nothing.

Textual's own driver decodes strictly, and its thread ends with the program at the first wrong byte or sequence.
"""

import os
import sys
from codecs import getincrementaldecoder
from collections.abc import Iterable, Iterator

from textual.driver import Driver
from textual.message import Message

if sys.platform == "win32":  # pragma: no cover

    def terminal_driver() -> type[Driver] | None:
        """The driver of the terminal; ``None``: Textual chooses."""
        return None

else:
    import selectors
    import signal

    from textual._xterm_parser import XTermParser
    from textual.drivers.linux_driver import LinuxDriver

    _CHUNK = 4096
    _WAIT = 0.1  # seconds; also the longest time until an Escape key alone is noticed

    def terminal_driver() -> type[Driver] | None:
        """The driver of the terminal; ``None``: Textual chooses."""
        return None if os.environ.get("TEXTUAL_DRIVER") else TerminalDriver

    class TerminalDriver(LinuxDriver):
        """The driver of Textual with its own reading of keys. A byte that is not UTF-8 becomes U+FFFD."""

        def run_input_thread(self) -> None:
            keys = KeyDecoder()
            with selectors.SelectSelector() as selector:
                selector.register(self.fileno, selectors.EVENT_READ)
                while not self.exit_event.is_set():
                    data = None
                    if selector.select(_WAIT):
                        try:
                            data = os.read(self.fileno, _CHUNK)
                        except OSError:
                            data = b""
                        if not data:  # the terminal is gone
                            os.kill(os.getpid(), signal.SIGHUP)
                            return
                    for message in keys.messages(data):
                        self.process_message(message)

    class KeyDecoder:
        """Turns the bytes of a terminal into messages of Textual. It takes any bytes."""

        def __init__(self) -> None:
            self._decode = getincrementaldecoder("utf-8")("replace").decode
            self._parser = XTermParser()

        def messages(self, data: bytes | None) -> Iterator[Message]:
            """The messages for ``data``. Call it without data from time to time: a single Escape is a key by then."""
            for text in "" if data is None else self._decode(data):
                yield from self._guarded(self._parser.feed(text))
            yield from self._guarded(self._parser.tick())

        def _guarded(self, messages: Iterable[Message]) -> Iterator[Message]:
            """``messages`` until the parser fails. The sequence that it fails at is dropped."""
            try:
                yield from messages
            except Exception:  # noqa: BLE001 - BORDER: one key event; the parser raises errors of many types
                self._parser = XTermParser()  # after an error the parser is of no use
