"""The shop's register during a session: read when first needed, and again whenever its file has changed."""

import os
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

from benchflow import __version__
from benchflow.base.digest_cache import DigestCache
from benchflow.base.errors import BenchflowError
from benchflow.session.log.line_format import Line
from benchflow.session.shop.register import Shop, find_instrument
from benchflow.session.state.instrument_uses import instrument_uses


class Register:
    """One shop file. Where the file does not exist there is no register: any name may sign, no instrument is known."""

    def __init__(self, path: Path, cache: Path | None = None) -> None:
        """``cache``: a folder for the parsed register, since importing the YAML reader is slow."""
        self.path = path
        self._cache = None if cache is None else DigestCache(cache, ".register", Shop, limit=8, mode=0o600)
        self._stamp: tuple[int, int] | None = None
        self._shop: Shop | None = None

    def shop(self) -> Shop | None:
        """The present register; ``None`` where there is none.

        Raises:
            BenchflowError: the file cannot be read or has errors. No part of it is used then: a person removed from
                the register must not be able to sign because of a typing error elsewhere.
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
        digest = sha256(__version__.encode() + data).digest()
        shop = None if self._cache is None else self._cache.get(self._cache_name(), digest)
        if shop is None:
            from benchflow.session.shop.register_reader import load_shop  # late: brings in the YAML reader

            found = load_shop(self.path)
            if found.shop is None:
                listed = "; ".join(str(problem) for problem in found.problems[:3])
                raise BenchflowError(f"the shop file cannot be read: {listed}")
            shop = found.shop
            if self._cache is not None:
                self._cache.put(self._cache_name(), digest, shop)
        return shop

    def _cache_name(self) -> str:
        return f"shop-{sha256(str(self.path.absolute()).encode()).hexdigest()[:16]}"

    def _stamp_now(self) -> tuple[int, int] | None:
        try:
            state = os.stat(self.path)
        except OSError:
            return None
        return state.st_mtime_ns, state.st_size

    def count(self, lines: Sequence[Line]) -> None:
        """Add a session's uses to the register. Counting the same session twice changes nothing.

        Raises:
            BenchflowError: the register could not be changed. The log still has every use.
        """
        shop = self.shop()
        if shop is None or not lines:
            return
        counts: dict[str, int] = {}
        for serial, count in instrument_uses(lines).items():
            instrument = find_instrument(shop, serial)
            if instrument is not None:
                counts[instrument.id] = counts.get(instrument.id, 0) + count
        session = lines[0].hash[:16]
        if all(_counted(shop, name, session) == count for name, count in counts.items()):
            return
        from benchflow.session.shop.register_writer import change_file, count_uses

        change_file(self.path, count_uses(session, counts))


def _counted(shop: Shop, name: str, session: str) -> int | None:
    return next((one.uses_in.get(session) for one in shop.instruments if one.id == name), None)
