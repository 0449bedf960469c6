"""Every operation of every shipped procedure on 80 by 24: nothing important is hidden."""

from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest

from benchflow.session.view.build import operation_view
from benchflow.tui.draw.bench_layout import BenchContent, draw_bench
from benchflow.tui.draw.joint_map import next_fastener
from benchflow.tui.draw.large_type import draw_large
from benchflow.tui.draw.styled_lines import plain
from benchflow.tui.model.bench_inputs import BenchInput, TickInput, bench_inputs, input_of, takes_text
from benchflow.tui.model.current_task import OperationTask
from tests.driving.shipped import LIBRARY, ShippedBuild

NOON = datetime(2030, 1, 1, 14, 7, tzinfo=UTC)


@pytest.mark.parametrize("procedure", sorted(path.stem for path in LIBRARY.glob("*.yaml")))
@pytest.mark.parametrize("large", [False, True], ids=["ordinary", "large"])
def test_cautions_current_input_and_field_are_complete(tmp_path: Path, procedure: str, large: bool) -> None:
    driver = ShippedBuild(tmp_path / "build.jsonl", procedure)
    driver.open()
    view = driver.controller.view()
    for name in driver.state.plan.steps:
        now = msgspec.structs.replace(operation_view(driver.state, driver.controller.context(), name), in_progress=True)
        for item in bench_inputs(now):
            scene = BenchContent(NOON, OperationTask(now), item)
            picture = (draw_large if large else draw_bench)(view, scene, 80, 24)
            left = " ".join(" ".join(plain(line)[: 80 if large else 49].split()) for line in picture.lines)
            for caution in now.cautions:
                assert caution.signal.upper() in left, name
                assert caution.text.split()[-1] in left, (name, caution.text)
            if takes_text(item):
                assert picture.place is not None, (name, item)
                row = plain(picture.lines[picture.place.y])
                assert row[picture.place.x - 1] == "[", (name, row)
                assert row[picture.place.x + picture.place.width] == "]", (name, row)
            if isinstance(item, TickInput) and not large:
                assert f"►{next_fastener(item.input)}◄" in left, (name, left)
            elif not large:
                assert label_of(item).split()[0] in left, (name, label_of(item))
    driver.controller.close()


def label_of(item: BenchInput) -> str:
    """The text by which an item is recognised on the screen."""
    given = input_of(item)
    found = next((getattr(given, name, "") for name in ("ask", "text", "title") if getattr(given, name, "")), "Finish")
    return str(found)
