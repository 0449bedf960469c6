"""``shop``: who works here and with what."""

import os
import sys
from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.exits import FINE, FOUND
from benchflow.commands.output import emit, remark, say

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop
    from benchflow.trade.instruments import Instrument


def _path() -> Any:
    from benchflow.session.machine_folders import places

    return places().shop


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BenchflowError(f"{text!r} is no date; write it like 2026-03-01") from None


def _change(*changes: Callable[..., Any]) -> None:
    from benchflow.session.machine_folders import make_folder
    from benchflow.session.shop.register_writer import change_file

    path = _path()
    make_folder(path.parent)
    change_file(path, *changes)
    say(f"Kept in {path}")


@click.group(invoke_without_command=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@click.pass_context
def shop(ctx: click.Context, as_json: bool) -> int:
    """Look at the shop's register, or change it: people with their roles and PINs, instruments with their
    calibration.

    Without a command it shows the register and says what is overdue. Once there is a register, only people in it can
    open a session or sign, and only for their roles; an instrument that is not fit is refused.
    """
    if ctx.invoked_subcommand is not None:
        return FINE
    from benchflow.session.shop.register_reader import load_shop

    path = _path()
    if not path.exists():
        remark(f"There is no register yet ({path}): any name may sign. Begin one with: benchflow shop person NAME")
        if as_json:
            emit({"file": path, "people": [], "instruments": []})
        return FINE
    found = load_shop(path)
    for problem in found.problems:
        remark(str(problem))
    if found.shop is None:
        return FOUND
    if as_json:
        people = [{"name": one.name, "roles": one.roles, "retired": one.retired} for one in found.shop.people]
        emit({"file": path, "people": people, "instruments": [_plain(one) for one in found.shop.instruments]})
    else:
        _show(found.shop)
    return FINE


def _plain(one: "Instrument") -> dict[str, Any]:
    from benchflow.trade.instruments import due_date

    return {
        "id": one.id,
        "kind": one.kind,
        "title": one.title,
        "serial": one.serial,
        "range": None if one.range is None else one.range.text,
        "uncertainty": None if one.uncertainty is None else one.uncertainty.text,
        "coverage-factor": str(one.k),
        "calibrated": one.calibrated,
        "calibration-due": due_date(one),
        "uses-since": one.uses,
        "in-doubt": one.doubt,
        "retired": one.retired,
    }


def _show(register: "Shop") -> None:
    say(register.name or "The shop")
    say()
    say("People")
    for person in register.people:
        left = f", left {person.retired}" if person.retired else ""
        pin = ", PIN" if person.pin else ""
        say(f"  {person.name}: {', '.join(person.roles) or 'no role'}{pin}{left}")
    say()
    say("Instruments")
    today = date.today()  # calibration is due by the calendar of the shop
    for one in register.instruments:
        say(f"  {one.id}: {_described(one, today)}")


def _described(one: "Instrument", today: date) -> str:
    from benchflow.trade.instruments import due_date, uses_allowed

    parts = [one.kind, one.name]
    if one.range is not None:
        parts.append(one.range.text)
    due, allowed = due_date(one), uses_allowed(one)
    if due is not None:
        parts.append(f"OVERDUE since {due}" if due < today else f"due {due}")
    if one.uses:
        parts.append(f"{one.uses} uses" + (f" of {allowed}" if allowed else ""))
    if one.doubt:
        parts.append(f"IN DOUBT: {one.doubt}")
    if one.retired:
        parts.append(f"retired {one.retired}")
    return ", ".join(parts)


@shop.command()
@click.argument("name")
@click.option("--role", "roles", multiple=True, help="What they sign for, such as inspector; may be repeated.")
def person(name: str, roles: tuple[str, ...]) -> int:
    """Add a person, or give one other roles.

    \b
      benchflow shop person 'Ann Other' --role builder --role inspector
    """
    from benchflow.session.shop.register import find_person
    from benchflow.session.shop.register_writer import add_person, set_roles

    register = _register()
    known = None if register is None else find_person(register, name)
    if known is not None and not roles:
        # Never by saying nothing: whoever only meant to look would leave nobody to sign.
        has = ", ".join(known.roles) or "no role"
        raise BenchflowError(f"{known.name} is in the register already ({has}). For other roles say --role, or retire")
    _change(add_person(name, roles) if known is None else set_roles(known.name, roles))
    return FINE


def _register() -> "Shop | None":
    from benchflow.session.shop.live_register import Register

    return Register(_path()).shop()


@shop.command()
@click.argument("name")
def pin(name: str) -> int:
    """Give a person a PIN. It is asked for twice (from a script: one line on standard input); only its salted hash is
    kept."""
    from benchflow.session.shop.register import find_person, hash_pin
    from benchflow.session.shop.register_writer import set_pin

    register = _register()
    known = None if register is None else find_person(register, name)
    if known is None:
        raise BenchflowError(f"{name} is not in the register. Add: benchflow shop person NAME --role ROLE")
    if sys.stdin.isatty():
        typed = click.prompt("PIN", hide_input=True, confirmation_prompt="The same again")
    else:
        typed = sys.stdin.readline().rstrip("\r\n")
    _change(set_pin(known.name, hash_pin(typed, os.urandom(16))))
    return FINE


@shop.command()
@click.argument("name", metavar="ID")
@click.argument("values", metavar="KEY=VALUE...", nargs=-1, required=True)
def instrument(name: str, values: tuple[str, ...]) -> int:
    """Add an instrument, or change what is known of one.

    \b
      benchflow shop instrument tw-120 kind=torque serial=T-0117 range='20 .. 120 N·m' uncertainty='4 %'
      benchflow shop instrument tw-120 calibrated=2026-03-01 calibration-due=2027-03-01

    The keys: kind, title, serial, range, scale, uncertainty, coverage-factor (k, else 2), calibrated, calibration-due,
    uses-since, uses-allowed, lever, note. `benchflow schema --shop` says what each means.
    """
    from benchflow.session.shop.register_writer import add_instrument, set_value

    pairs: dict[str, str] = {}
    for value in values:
        key, equals, text = value.partition("=")
        if not equals:
            raise BenchflowError(f"{value!r} is no KEY=VALUE; write it like serial=T-0117")
        pairs[key.strip()] = text.strip()
    register = _register()
    if register is not None and any(one.id == name for one in register.instruments):
        _change(*(set_value(name, key, text) for key, text in pairs.items()))
    else:
        _change(add_instrument(name, pairs))
    return FINE


@shop.command()
@click.argument("name", metavar="ID")
@click.option("--on", help="The day of the certificate; today if not said.")
@click.option("--due", help="When the next one is due.")
@click.option("--uncertainty", default="", help="The expanded uncertainty on the certificate.")
def calibrated(name: str, on: str | None, due: str | None, uncertainty: str) -> int:
    """Record a calibration: its count of uses restarts at zero, and a doubt is lifted."""
    from benchflow.session.shop.register_writer import record_calibration

    day = _day(on) or date.today()  # the day on the certificate is the shop's own
    _change(record_calibration(name, day, _day(due), uncertainty))
    return FINE


@shop.command()
@click.argument("name", metavar="ID")
@click.argument("why")
def doubt(name: str, why: str) -> int:
    """Put an instrument in doubt (dropped, overloaded, found bad): refused until it is calibrated."""
    from benchflow.session.shop.register_writer import doubt as doubted

    _change(doubted(name, why))
    return FINE


@shop.command()
@click.argument("name", metavar="NAME|ID")
@click.option("--on", help="The day; today if not said.")
def retire(name: str, on: str | None) -> int:
    """A person who has left, or an instrument out of use. Neither is deleted, because old logs refer to them."""
    from benchflow.session.shop.register import find_person
    from benchflow.session.shop.register_writer import retire as retired

    register = _register()
    person = None if register is None else find_person(register, name)
    if person is None and not any(one.id == name for one in (register.instruments if register else ())):
        raise BenchflowError(f"Nobody and nothing in the register is called {name!r}. What there is: benchflow shop")
    part, name = ("instruments", name) if person is None else ("people", person.name)
    _change(retired(part, name, _day(on) or date.today()))  # the shop's own calendar
    return FINE
