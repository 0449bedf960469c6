"""An operation that this build leaves out is named as such by every intent, and each intent has an example."""

import json
from pathlib import Path

import pytest

from benchflow.session.intents.intent_examples import INTENT_EXAMPLES, intent_example, intent_purpose
from benchflow.session.intents.intent_types import INTENT_TYPES, BaseIntent
from benchflow.session.intents.parsing import read_intent, required_by_field
from benchflow.session.refusal import Refusal
from tests.driving.made_pictures import jpeg_at
from tests.driving.script import Script, intent, open_intent, procedure_with
from tests.test_cli import Shell

HEAD = "options: {side: {choices: [in, out]}, paint: {choices: [red, blue]}}\nplaces: {cap: [1, 2]}\n"
NAMES_AN_OPERATION = sorted(
    name for name, kind in INTENT_TYPES.items() if "operation" in required_by_field(kind) and name != "take-over"
)


@pytest.mark.parametrize("place", ["", "[1]"])
@pytest.mark.parametrize("name", NAMES_AN_OPERATION)
def test_intent_about_an_operation_that_is_left_out(tmp_path: Path, name: str, place: str) -> None:
    text = procedure_with(
        "{id: one, title: One, when: {side: in}}", "{id: other, title: Other, when: {side: out}, each: cap}", head=HEAD
    )
    script = Script(tmp_path, text)
    script.do_all(open_intent(options={"side": "in", "paint": "red"}), intent("start", operation="one"))
    sent = {**intent_example(name), "operation": f"other{place}", "by": "Kim"}
    sent.pop("pin", None)
    if name == "attach":
        sent["file"] = str(jpeg_at(tmp_path / "picture.jpg"))
    ((reason,),) = [reply["refused"] for reply in script.send(sent)]
    assert reason["message"] == "“Other” is not part of this build (side is in). Leave it out."


def test_every_intent_has_an_example_that_parses() -> None:
    assert set(INTENT_EXAMPLES) == set(INTENT_TYPES)
    for name, kind in INTENT_TYPES.items():
        found = read_intent(intent_example(name))
        assert not isinstance(found, Refusal), (name, found)
        assert type(found) is kind
        assert intent_purpose(name).endswith("."), name


def test_list_of_intents_has_a_line_and_an_example_for_each(tmp_path: Path) -> None:
    code, output, errors = Shell(tmp_path).run("drive", "--intents")
    assert (code, errors) == (0, "")
    examples = [json.loads(line) for line in output.splitlines() if line.strip().startswith("{")]
    assert [one["intent"] for one in examples] == sorted(INTENT_TYPES)
    for name, kind in INTENT_TYPES.items():
        assert f"\n{name} " in f"\n{output}"
        for field in set(required_by_field(kind)) - set(required_by_field(BaseIntent)):
            assert field in output
