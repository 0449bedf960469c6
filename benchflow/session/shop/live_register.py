"""The shop's register during a session. It is read when first needed, and again after its file has changed."""

import os
from collections.abc import Sequence
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

from msgspec.structs import replace

from benchflow import __version__
from benchflow.base.digest_cache import DigestCache
from benchflow.base.errors import BenchflowError
from benchflow.base.regular_file import read_regular_file
from benchflow.session.log.line_format import Line
from benchflow.session.shop.register import Person, Shop, find_instrument, path_id, pin_matches, without_hashes
from benchflow.session.state.instrument_uses import instrument_uses


class Register:
    """One shop file. Without the file there is no register: any name may sign, and no instrument is registered."""

    def __init__(self, path: Path, cache: Path | None = None) -> None:
        """``cache`` is a folder for the parsed register. It saves time, because the YAML reader is slow to import."""
        self.path = path
        self._cache_folder = cache
        self._cache = None if cache is None else DigestCache(cache, ".people", Shop, limit=8, mode=0o600)
        self._stamp: tuple[int, ...] | None = None
        self._shop: Shop | None = None

    def shop(self) -> Shop | None:
        """The present register, without the hashes of PINs; ``None`` without a shop file.

        Raises:
            BenchflowError: the file cannot be read or has errors. No part of it is used then: after a typing error,
                a person who was removed from the register must not be able to sign.
        """
        stamp = self._file_stamp()
        if stamp is None:
            self._stamp, self._shop = None, None
        elif stamp != self._stamp:
            self._stamp, self._shop = stamp, self._read()
        return self._shop

    def identified(self) -> Shop | None:
        """The present register with its id; ``None`` without a shop file. Without an id in the file, the path counts.

        Raises:
            BenchflowError: as :meth:`shop`.
        """
        shop = self.shop()
        if shop is None or shop.id:
            return shop
        return replace(shop, id=path_id(self.path))

    def make_id(self) -> None:
        """Give the register a permanent id, if it has none and its file can be changed.

        Raises:
            BenchflowError: as :meth:`shop`.
        """
        shop = self.shop()
        if shop is not None and not shop.id:
            from benchflow.session.shop.register_writer import ensure_id  # imported late: imports the YAML writer

            ensure_id(self.path)

    def is_known_as(self, name: str, shop: Shop | None) -> bool:
        """True if ``name`` is the id of ``shop``, or was its id before its file got a permanent one."""
        return shop is not None and name in (shop.id, path_id(self.path))

    def pin_fits(self, person: Person, pin: str) -> bool:
        """True if ``pin`` is the PIN of ``person``. The hash is read from the file each time and is kept nowhere."""
        from benchflow.session.shop.register_reader import load_shop

        try:
            shop = load_shop(self.path).shop
        except OSError:
            return False
        stored = next((one.pin for one in shop.people if one.name == person.name), "") if shop is not None else ""
        return pin_matches(pin, stored)

    def _read(self) -> Shop:
        try:
            data = read_regular_file(self.path)
        except OSError as error:
            raise BenchflowError(f"The shop file {self.path} cannot be read: {error.strerror or error}.") from error
        if self._cache_folder is not None:
            _remove_caches_with_hashes(self._cache_folder)
        digest = sha256(__version__.encode() + data).digest()
        shop = None if self._cache is None else self._cache.get(self._cache_name(), digest)
        if shop is None:
            from benchflow.session.shop.register_reader import load_shop  # imported late: imports the YAML reader

            parsed = load_shop(self.path)
            if parsed.shop is None:
                first_problems = "\n".join(str(problem) for problem in parsed.problems[:3])
                raise BenchflowError(f"The shop file has errors. Correct them first.\n{first_problems}")
            shop = without_hashes(parsed.shop)
            if self._cache is not None:
                self._cache.put(self._cache_name(), digest, shop)
        return shop

    def _cache_name(self) -> str:
        return f"shop-{sha256(str(self.path.absolute()).encode()).hexdigest()[:16]}"

    def _file_stamp(self) -> tuple[int, ...] | None:
        """What shows a change of the file: its times, number and size; ``None`` if it does not exist."""
        try:
            status = os.stat(self.path)
        except OSError:
            return None
        return status.st_mtime_ns, status.st_ctime_ns, status.st_ino, status.st_size

    def count_uses(self, lines: Sequence[Line]) -> None:
        """Add the uses of instruments in a log to the register. Repeated calls count each use once.

        Raises:
            BenchflowError: the register could not be changed. The log keeps every use, so a later call can count it.
        """
        shop = self.shop()
        if shop is None or not lines:
            return
        counts: dict[str, int] = {}  # by instrument id
        for serial, count in instrument_uses(lines).items():
            instrument = find_instrument(shop, serial)
            if instrument is not None:
                counts[instrument.id] = counts.get(instrument.id, 0) + count
        session = lines[0].hash[:16]
        if all(_recorded_uses(shop, name, session) == count for name, count in counts.items()):
            return
        from benchflow.session.shop.register_writer import change_file, record_uses

        change_file(self.path, record_uses(session, counts))


def _remove_caches_with_hashes(folder: Path) -> None:
    """Remove the parsed registers of version 0.1, which have the hashes of PINs in them."""
    with suppress(OSError):
        for path in (*folder.glob("shop-*.register"), *folder.glob(".shop-*.register.*.part")):
            path.unlink()


def _recorded_uses(shop: Shop, name: str, session: str) -> int | None:
    """The uses of one session that the register has already; ``None`` if it has none."""
    return next((one.uses_in.get(session) for one in shop.instruments if one.id == name), None)
