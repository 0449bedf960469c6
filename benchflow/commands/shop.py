"""The command ``shop``: shows and changes the register of people and instruments."""

import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_json, print_line, print_message
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help

if TYPE_CHECKING:
    from benchflow.session.shop.register import Person, Shop
    from benchflow.session.shop.register_writer import Change
    from benchflow.trade.instruments import Instrument


@click.group(invoke_without_command=True, epilog=exit_code_help("The register has mistakes. They are listed."))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def shop(context: click.Context, as_json: bool) -> int:
    """Show the register, or change it. The register lists people with their roles and PINs, and instruments with
    their calibration.

    Without a command, the register is shown, with everything that is overdue. If there is a register, only the
    people in it can open a job or sign, and only for their roles. An instrument that is not fit is refused.
    """
    if context.invoked_subcommand is not None:
        return SUCCESS
    from benchflow.session.shop.register_reader import load_shop
    from benchflow.session.shop.register_writer import readable_by_others

    path = _shop_file()
    if not path.exists():
        print_message(f"There is no register ({path}). Any name may sign. To make one: benchflow shop person NAME")
        if as_json:
            print_json({"file": path, "id": None, "letterhead": None, "people": [], "instruments": []})
        return SUCCESS
    try:
        loaded = load_shop(path)
    except OSError as error:
        raise BenchflowError(f"The shop file {path} cannot be read: {error.strerror or error}.") from error
    for problem in loaded.problems:
        print_message(str(problem))
    if loaded.shop is None:
        return PROBLEM_FOUND
    if as_json:
        people = [_person_as_json(one) for one in loaded.shop.people]
        instruments = [_instrument_as_json(one) for one in loaded.shop.instruments]
        head = _letterhead_as_json(loaded.shop)
        answer = {"file": path, "id": loaded.shop.id or None, "letterhead": head}
        print_json({**answer, "people": people, "instruments": instruments})
    else:
        _print_register(loaded.shop)
    if any(one.pin for one in loaded.shop.people) and readable_by_others(path):
        print_message(
            f"Other users can read {path}, which has the hashes of PINs. A short PIN can be found from its hash. "
            f"Run: chmod 600 '{path}', and change the PINs."
        )
    return SUCCESS


def _letterhead_as_json(register: "Shop") -> dict[str, Any]:
    head = register.letterhead
    return {
        "name": register.name,
        "address": head.address,
        "telephone": head.telephone,
        "email": head.email,
        "logo": head.logo,
    }


def _person_as_json(person: "Person") -> dict[str, Any]:
    return {
        "name": person.name,
        "roles": person.roles,
        "pin": bool(person.pin),
        "pin-changed": person.pin_changed or None,
        "retired": person.retired,
    }


def _instrument_as_json(instrument: "Instrument") -> dict[str, Any]:
    from benchflow.trade.instruments import due_date

    return {
        "id": instrument.id,
        "kind": instrument.kind,
        "title": instrument.title,
        "serial": instrument.serial,
        "range": None if instrument.range is None else instrument.range.text,
        "uncertainty": None if instrument.uncertainty is None else instrument.uncertainty.text,
        "coverage-factor": str(instrument.k),
        "calibrated": instrument.calibrated,
        "calibration-due": due_date(instrument),
        "uses-since": instrument.uses,
        "in-doubt": instrument.doubt,
        "in-doubt-found": instrument.doubt_found,
        "in-doubt-last-good": instrument.last_good,
        "doubts": [
            {"reason": one.reason, "found": one.found, "last-good": one.last_good, "calibrated": one.calibrated}
            for one in instrument.doubts
        ],
        "retired": instrument.retired,
    }


def _print_register(register: "Shop") -> None:
    print_line(register.name or "The shop")
    head = register.letterhead
    for line in (*head.address, head.telephone, head.email, f"Logo: {head.logo}" if head.logo else ""):
        if line:
            print_line(line)
    print_line(f"Id: {register.id or 'none yet; it is made with the first change or the first job'}")
    print_line()
    print_line("People")
    for person in register.people:
        left = f", not here from {person.retired} on" if person.retired else ""
        pin = _pin_text(person)
        print_line(f"  {person.name}: {', '.join(person.roles) or 'no role'}{pin}{left}")
    print_line()
    print_line("Instruments")
    today = date.today()  # due dates are local dates
    for instrument in register.instruments:
        print_line(f"  {instrument.id}: {_instrument_text(instrument, today)}")


def _pin_text(person: "Person") -> str:
    """Whether a person has a PIN, and since when: ``, PIN set 2026-03-01``."""
    from benchflow.session.log.timestamps import local_date

    since = f" {local_date(person.pin_changed)}" if person.pin_changed else ""
    if person.pin:
        return f", PIN set{since}"
    return f", PIN removed{since}" if since else ", no PIN"


def _instrument_text(instrument: "Instrument", today: date) -> str:
    """Describe an instrument in one line: kind, range, calibration, uses, and whether it is in doubt."""
    from benchflow.trade.instruments import due_date, uses_allowed

    parts = [instrument.kind, instrument.name]
    if instrument.range is not None:
        parts.append(instrument.range.text)
    due, allowed = due_date(instrument), uses_allowed(instrument)
    if due is not None:
        parts.append(f"OVERDUE since {due}" if due < today else f"due {due}")
    if instrument.uses:
        parts.append(f"{instrument.uses} uses" + (f" of {allowed}" if allowed else ""))
    if instrument.doubt:
        parts.append(f"IN DOUBT: {instrument.all_doubts[-1].words}")
    if instrument.retired:
        parts.append(f"retired {instrument.retired}")
    return ", ".join(parts)


# --- people -----------------------------------------------------------------------------------------


@shop.command(epilog=exit_code_help())
@click.argument("name")
@click.option("--role", "roles", multiple=True, help="What the person signs for, such as inspector. May be repeated.")
def person(name: str, roles: tuple[str, ...]) -> int:
    """Add a person. For a person who is in the register, replace the roles.

    \b
      benchflow shop person 'Ann Other' --role builder --role inspector
    """
    from benchflow.session.shop.register import find_person
    from benchflow.session.shop.register_writer import add_person, set_roles

    register = _register()
    known = None if register is None else find_person(register, name)
    if known is not None and not roles:
        # Without this error, the command would remove all roles of the person.
        present = ", ".join(known.roles) or "no role"
        raise BenchflowError(
            f"{known.name} is already in the register ({present}). "
            "To replace the roles, give --role. To retire a person: benchflow shop retire NAME"
        )
    _save(add_person(name, roles) if known is None else set_roles(known.name, roles))
    return SUCCESS


@shop.command(epilog=exit_code_help())
@click.argument("name")
@click.option("--remove", is_flag=True, help="Remove the PIN. The person then signs with the name alone.")
def pin(name: str, remove: bool) -> int:
    """Set, change or remove the PIN of a person. If a PIN is set, it is asked for first, then the new PIN, then the
    new PIN again. A script gives the present PIN (if there is one) and the new PIN on standard input, one on each
    line. Only a salted hash is stored.

    After a wrong PIN, the next try is refused for 2 s. If a PIN is forgotten, the person who keeps the register
    removes the lines `pin` and `pin-changed` from the file in an editor. Jobs that go on afterwards log that.
    """
    from benchflow.session.shop.pin_change import change_pin
    from benchflow.session.shop.register import find_person

    register = _register()
    known = None if register is None else find_person(register, name)
    if known is None:
        raise BenchflowError(f"{name} is not in the register. To add: benchflow shop person NAME --role ROLE")
    present = _typed_pin(f"Present PIN of {known.name}") if known.pin else ""
    new = "" if remove else _typed_pin("New PIN", repeat="Repeat the new PIN")
    if not new and not remove:
        raise BenchflowError("A PIN must have 4 to 64 characters. To remove the PIN: benchflow shop pin NAME --remove")
    _change_register(lambda path: change_pin(path, known.name, present, new))
    return SUCCESS


def _typed_pin(question: str, repeat: str = "") -> str:
    """A PIN from the keyboard, which does not show it, or from a line on standard input."""
    if sys.stdin.isatty():
        typed: str = click.prompt(
            question, hide_input=True, default="", show_default=False, confirmation_prompt=repeat or False
        )
        return typed
    return sys.stdin.readline().rstrip("\r\n")


# --- the letterhead ---------------------------------------------------------------------------------


@shop.command(epilog=exit_code_help())
@click.argument("values", metavar="KEY=VALUE...", nargs=-1, required=True)
def letterhead(values: tuple[str, ...]) -> int:
    """Set the letterhead of the build sheets. An empty value removes the key.

    \b
      benchflow shop letterhead name='The bench by the window' address='12 Quay Road; Smalltown'
      benchflow shop letterhead telephone='01234 567890' email=bench@example.org logo=logo.png

    The lines of the address are separated by semicolons. The logo is a PNG or JPEG file in the folder of the register.
    """
    from benchflow.review.sheets.letterhead import logo_data_uri
    from benchflow.session.shop.register_writer import set_letterhead

    changes = []
    for value in values:
        key, equals, text = value.partition("=")
        if not equals:
            raise BenchflowError(f"{value!r} is not KEY=VALUE. Write it like telephone='01234 567890'")
        lines = text.split(";") if key.strip() == "address" else [text]
        changes.append(set_letterhead(key.strip(), tuple(line.strip() for line in lines if line.strip())))
        if key.strip() == "logo" and text.strip():
            logo_data_uri(_shop_file().parent / text.strip())  # refuse a picture that no sheet could show
    _save(*changes)
    return SUCCESS


# --- instruments ------------------------------------------------------------------------------------


@shop.command(epilog=exit_code_help())
@click.argument("name", metavar="ID")
@click.argument("values", metavar="KEY=VALUE...", nargs=-1, required=True)
def instrument(name: str, values: tuple[str, ...]) -> int:
    """Add an instrument, or change its values.

    \b
      benchflow shop instrument tw-120 kind=torque serial=T-0117 range='20 .. 120 N·m' uncertainty='4 %'
      benchflow shop instrument tw-120 calibrated=2026-03-01 calibration-due=2027-03-01

    The keys are kind, title, serial, range, scale, uncertainty, coverage-factor (k, default 2), calibrated,
    calibration-due, uses-since, uses-allowed, lever, note. `benchflow schema --shop` explains each of them.
    The program writes `doubts`, the earlier doubts.
    """
    from benchflow.session.shop.register_writer import add_instrument, set_value

    pairs: dict[str, str] = {}
    for value in values:
        key, equals, text = value.partition("=")
        if not equals:
            raise BenchflowError(f"{value!r} is not KEY=VALUE. Write it like serial=T-0117")
        pairs[key.strip()] = text.strip()
    register = _register()
    if register is not None and any(one.id == name for one in register.instruments):
        _save(*(set_value(name, key, text) for key, text in pairs.items()))
    else:
        _save(add_instrument(name, pairs))
    return SUCCESS


@shop.command(epilog=exit_code_help())
@click.argument("name", metavar="ID")
@click.option("--on", metavar="DATE", help="The date on the certificate. Default: today.")
@click.option("--due", metavar="DATE", help="The date of the next calibration.")
@click.option("--uncertainty", default="", help="The expanded uncertainty on the certificate.")
def calibrated(name: str, on: str | None, due: str | None, uncertainty: str) -> int:
    """Record a calibration of an instrument. Its uses are counted from zero again, and it is no longer in doubt.

    A doubt that the calibration ends is kept under `doubts`: jobs between the last good check and this calibration stay
    in doubt in the review.
    """
    from benchflow.session.shop.register_writer import record_calibration

    day = _date(on) or date.today()  # a certificate has a local date
    _save(record_calibration(name, day, _date(due), uncertainty))
    return SUCCESS


@shop.command(epilog=exit_code_help())
@click.argument("name", metavar="ID")
@click.argument("reason")
@click.option("--found", metavar="DATE", help="The day on which it happened or was found. Default: today.")
@click.option(
    "--last-good", metavar="DATE", help="The last day on which it was known to read right. Default: its calibration."
)
def doubt(name: str, reason: str, found: str | None, last_good: str | None) -> int:
    """Mark an instrument as in doubt, for example because it was dropped. It is refused until it is calibrated.

    Jobs in which it was used after its last good check are in doubt in the review, also after the next calibration.

    \b
      benchflow shop doubt tw-120 'reads 4 % low' --found 2026-05-01 --last-good 2025-11-03
    """
    from benchflow.session.shop.register_writer import mark_in_doubt

    day = _date(found) or date.today()  # a local date, as on a certificate
    good = _date(last_good)
    if day > date.today():
        raise BenchflowError(f"{day} is in the future. Give the day on which the doubt was found (--found).")
    _save(mark_in_doubt(name, reason, day, good))
    return SUCCESS


@shop.command(epilog=exit_code_help())
@click.argument("name", metavar="NAME|ID")
@click.option("--on", metavar="DATE", help="The first day without it. Default: today.")
def retire(name: str, on: str | None) -> int:
    """Retire a person who leaves, or an instrument that is out of use. The entry stays, because old logs name it.

    From the day on, the person cannot sign, and the instrument is refused.
    """
    from benchflow.session.shop.register import find_person
    from benchflow.session.shop.register_writer import retire as retire_entry

    register = _register()
    person = None if register is None else find_person(register, name)
    if person is None and not any(one.id == name for one in (register.instruments if register else ())):
        raise BenchflowError(f"The register has no person and no instrument {name!r}. To list both: benchflow shop")
    part, name = ("instruments", name) if person is None else ("people", person.name)
    _save(retire_entry(part, name, _date(on) or date.today()))  # the local date
    return SUCCESS


# --- the file ---------------------------------------------------------------------------------------


def _shop_file() -> Path:
    from benchflow.session.machine_folders import machine_folders

    return machine_folders().shop


def _register() -> "Shop | None":
    """The register of this machine, or ``None`` if there is none."""
    from benchflow.session.shop.live_register import Register

    return Register(_shop_file()).shop()


def _change_register(change: Callable[[Path], object]) -> None:
    """Change the shop file with ``change``. The file is made if there is none."""
    from benchflow.session.machine_folders import make_folder
    from benchflow.session.shop.register_writer import readable_by_others

    path = _shop_file()
    make_folder(path.parent)
    open_before = readable_by_others(path)
    change(path)
    print_line(f"Saved in {path}")
    if open_before and not readable_by_others(path):
        print_message(f"Other users could read {path}, which has the hashes of PINs. Now only you can read it.")


def _save(*changes: "Change") -> None:
    """Make ``changes`` in the shop file."""
    from benchflow.session.shop.register_writer import change_file

    _change_register(lambda path: change_file(path, *changes))


def _date(text: str | None) -> date | None:
    """The date in ``text``, or ``None`` without a text.

    Raises:
        BenchflowError: the text is not a date.
    """
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BenchflowError(f"{text!r} is not a date. Write it like 2026-03-01") from None
