"""The shop's register as a session uses it: read when it is first needed, read again when it has changed."""

import os
from collections.abc import Sequence
from pathlib import Path

from benchflow.errors import BenchflowError
from benchflow.session.lines import Line
from benchflow.session.shop import Shop, find_instrument


class Register:
    """One shop file. A file that is not there is no register: then any name may sign and no instrument is known."""

    def __init__(self, path: Path) -> None:
        self.path = path
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
            from benchflow.session.shop_reader import load_shop  # late: brings in the YAML reader

            found = load_shop(self.path)
            if found.shop is None:
                listed = "; ".join(str(problem) for problem in found.problems[:3])
                raise BenchflowError(f"the shop file cannot be read: {listed}")
            self._stamp, self._shop = stamp, found.shop
        return self._shop

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
        from benchflow.session.fitness import uses_in

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
        from benchflow.session.shop_file import change_file, count_uses

        change_file(self.path, count_uses(session, counts))


def _counted(shop: Shop, name: str, session: str) -> int | None:
    return next((one.uses_in.get(session) for one in shop.instruments if one.id == name), None)
