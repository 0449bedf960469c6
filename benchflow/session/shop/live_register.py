"""The shop's register as a session uses it: read when it is first needed, read again when it has changed."""

import os
from collections.abc import Sequence
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

import msgspec

from benchflow import __version__
from benchflow.errors import BenchflowError
from benchflow.session.log.line_format import Line
from benchflow.session.shop.register import Shop, find_instrument


class Register:
    """One shop file. A file that is not there is no register: then any name may sign and no instrument is known."""

    def __init__(self, path: Path, cache: Path | None = None) -> None:
        """``cache``: a folder where the register is kept as read, since the YAML reader is slow to bring in."""
        self.path, self._cache = path, cache
        self._stamp: tuple[int, int] | None = None
        self._shop: Shop | None = None

    def shop(self) -> Shop | None:
        """The register as it now stands; ``None`` where there is none.

        Raises:
            BenchflowError: the file has mistakes in it. They are never read past: a person struck out of
                the register must not be able to sign because of a typing slip elsewhere.
        """
        stamp = self._stamp_now()
        if stamp is None:
            self._stamp, self._shop = None, None
        elif stamp != self._stamp:
            self._stamp, self._shop = stamp, self._read()
        return self._shop

    def _read(self) -> Shop:
        try:
            data = self.path.read_bytes()
        except OSError as error:
            raise BenchflowError(f"the shop file cannot be read: {error.strerror or error} ({self.path})") from error
        kept = self._kept_in()
        digest = sha256(__version__.encode() + data).digest()
        shop = None if kept is None else _as_read(kept, digest)
        if shop is None:
            from benchflow.session.shop.register_reader import load_shop  # late: brings in the YAML reader

            found = load_shop(self.path)
            if found.shop is None:
                listed = "; ".join(str(problem) for problem in found.problems[:3])
                raise BenchflowError(f"the shop file cannot be read: {listed}")
            shop = found.shop
            if kept is not None:
                _keep(kept, digest, shop)
        return shop

    def _kept_in(self) -> Path | None:
        if self._cache is None:
            return None
        return self._cache / f"shop-{sha256(str(self.path.absolute()).encode()).hexdigest()[:16]}.register"

    def _stamp_now(self) -> tuple[int, int] | None:
        try:
            state = os.stat(self.path)
        except OSError:
            return None
        return state.st_mtime_ns, state.st_size

    def count(self, lines: Sequence[Line]) -> None:
        """Count a session's uses in. Counting the same session twice changes nothing.

        Raises:
            BenchflowError: the register could not be changed; the log keeps every use all the same.
        """
        from benchflow.session.rules.instrument_fitness import uses_in

        shop = self.shop()
        if shop is None or not lines:
            return
        counts: dict[str, int] = {}
        for serial, count in uses_in(lines).items():
            instrument = find_instrument(shop, serial)
            if instrument is not None:
                counts[instrument.id] = counts.get(instrument.id, 0) + count
        session = lines[0].hash[:16]
        if all(_counted(shop, name, session) == count for name, count in counts.items()):
            return
        from benchflow.session.shop.register_writer import change_file, count_uses

        change_file(self.path, count_uses(session, counts))


def _as_read(kept: Path, digest: bytes) -> Shop | None:
    """The register as it was read before, if it is of just this text and whole."""
    try:
        data = kept.read_bytes()
        if data[:32] != digest or sha256(data[64:]).digest() != data[32:64]:
            return None
        return msgspec.msgpack.decode(data[64:], type=Shop)
    except (OSError, msgspec.MsgspecError):
        return None


def _keep(kept: Path, digest: bytes, shop: Shop) -> None:
    """A cache that cannot be written is done without."""
    body = msgspec.msgpack.encode(shop)
    with suppress(OSError):
        kept.parent.mkdir(parents=True, exist_ok=True)
        beside = kept.with_suffix(f".{os.getpid()}")
        beside.write_bytes(digest + sha256(body).digest() + body)
        beside.replace(kept)


def _counted(shop: Shop, name: str, session: str) -> int | None:
    return next((one.uses_in.get(session) for one in shop.instruments if one.id == name), None)
