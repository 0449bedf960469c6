"""Changes a PIN in the shop file: the present PIN is asked for, and a wrong one makes the next try wait.

A forgotten PIN cannot be asked for. The person who keeps the register then removes the lines ``pin`` and
``pin-changed`` from the file in an editor; every job that goes on afterwards logs that.
"""

from pathlib import Path

from benchflow.session.machine_clock import Clock
from benchflow.session.shop.pin_tries import clear_tries, has_to_wait, note_try
from benchflow.session.shop.register import Shop, ShopError, find_person, pin_matches
from benchflow.session.shop.register_reader import load_shop
from benchflow.session.shop.register_writer import locked, save_changes, set_new_pin
from benchflow.session.state.clock import PIN_WAIT, Now


def change_pin(path: Path, name: str, present: str, new: str, clock: Clock | None = None) -> Shop:
    """Set the PIN of ``name`` to ``new`` and return the new register. An empty ``new`` removes the PIN.

    ``present`` is the PIN until now; it counts only if one is set.

    Raises:
        ShopError: the present PIN is wrong, the last try was wrong and less than :data:`PIN_WAIT` seconds ago, the
            new PIN is too short or too long, or the file cannot be changed. Nothing was changed then.
    """
    clock = clock or Clock()
    try:
        with locked(path) as lock_file:
            shop = load_shop(path).shop
            person = None if shop is None else find_person(shop, name)
            if person is None:
                raise ShopError(f"{name} is not in the register {path}, or the register has errors.")
            if not person.pin and not new:
                raise ShopError(f"{person.name} has no PIN. There is nothing to remove.")
            change = set_new_pin(person.name, new)
            if person.pin:
                _check_present(lock_file, present, person.pin, person.name, clock.now())
            return save_changes(path, change)
    except OSError as error:
        raise ShopError(f"The shop file {path} could not be changed: {error.strerror or error}.") from error
    except UnicodeDecodeError as error:
        raise ShopError(f"{path} is not UTF-8 text. Save it as UTF-8.") from error


def _check_present(lock_file: int, typed: str, stored: str, name: str, now: Now) -> None:
    """Compare ``typed`` with the PIN that is set. The try is noted before, so that a killed program gains none.

    Raises:
        ShopError: the PIN is wrong, or the last wrong try is too short ago.
    """
    if has_to_wait(lock_file, now):
        raise ShopError(
            f"The last PIN was wrong. Wait {PIN_WAIT:.0f} s, then enter the PIN again. Nothing was changed."
        )
    note_try(lock_file, now)
    if not typed or not pin_matches(typed, stored):
        raise ShopError(f"This is not the present PIN of {name}. Nothing was changed.")
    clear_tries(lock_file)
