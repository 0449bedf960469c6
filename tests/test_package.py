"""The wheel and the source distribution, built and installed outside of the checkout."""

import os
import subprocess
import sys
import tarfile
import zipfile
from email.parser import Parser
from pathlib import Path
from sysconfig import get_path

import pytest

pytest.importorskip("hatchling", reason="the build backend is in the extra `tests`")

CHECKOUT = Path(__file__).parents[1]


def run_command(*command: str | Path, folder: Path) -> str:
    # PYTHONPATH is removed, so that no module of the checkout can be imported.
    environ = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    environ |= {"BENCHFLOW_HOME": str(folder / "home")}
    completed = subprocess.run(
        list(map(str, command)), cwd=folder, env=environ, capture_output=True, text=True, timeout=120, check=False
    )
    assert completed.returncode == 0, completed.stdout + completed.stderr
    return completed.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the wheel and the source distribution."""
    folder = tmp_path_factory.mktemp("dist")
    completed = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-d", str(folder)],
        cwd=CHECKOUT, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert completed.returncode == 0, completed.stderr
    return folder


def test_wheel_has_licence_typing_marker_procedures_and_blocks(built: Path) -> None:
    with zipfile.ZipFile(next(built.glob("*.whl"))) as wheel:
        names = wheel.namelist()
        metadata_name = next(name for name in names if name.endswith(".dist-info/METADATA"))
        metadata = Parser().parsestr(wheel.read(metadata_name).decode())
        licence = next(name for name in names if ".dist-info/licenses/" in name)
        assert b"Copyright (c) 2026 the benchflow authors" in wheel.read(licence)
    assert metadata["License-Expression"] == "MIT"
    assert metadata["Author"] == "the benchflow authors"
    assert metadata.get_all("Provides-Extra") == ["postgres", "tests"]
    assert "benchflow/py.typed" in names
    prefix, folder = "benchflow/shipped_procedures/", CHECKOUT / "procedures"
    shipped = {path.relative_to(folder).as_posix() for path in folder.rglob("*.yaml")}
    assert any(name.startswith("blocks/") for name in shipped)
    assert {name.removeprefix(prefix) for name in names if name.startswith(prefix)} == shipped
    assert not [name for name in names if name.startswith("tests/") or "__pycache__" in name]


def test_large_test_libraries_are_not_required(built: Path) -> None:
    with zipfile.ZipFile(next(built.glob("*.whl"))) as wheel:
        metadata_name = next(name for name in wheel.namelist() if name.endswith(".dist-info/METADATA"))
        metadata = Parser().parsestr(wheel.read(metadata_name).decode())
    required = [line for line in metadata.get_all("Requires-Dist") or [] if "extra ==" not in line]
    assert not [line for line in required if line.startswith(("scipy", "numpy", "psycopg"))]
    assert any(line.startswith("textual") for line in required)


def test_source_distribution_has_all_files_to_build_and_test(built: Path) -> None:
    with tarfile.open(next(built.glob("*.tar.gz"))) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    needed = {"pyproject.toml", "README.md", "DEVELOPERS.md", "benchflow/LICENSE", "benchflow/cli.py", ".setup/tests",
              "procedures/head-install.yaml", "procedures/blocks/flat-face.yaml", "tests/test_package.py"}  # fmt: skip
    assert needed <= names


def test_wheel_works_outside_of_the_checkout(built: Path, tmp_path: Path) -> None:
    venv = tmp_path / "venv"
    run_command(sys.executable, "-m", "venv", "--without-pip", venv, folder=tmp_path)
    python = venv / "bin" / "python"
    wheel = next(built.glob("*.whl"))
    install = ("pip", "--python", python, "install", "-q", "--no-deps", "--no-compile", "--no-index", wheel)
    run_command(sys.executable, "-m", *install, folder=tmp_path)
    site = Path(
        run_command(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", folder=tmp_path).strip()
    )
    (site / "dependencies.pth").write_text(
        get_path("purelib") + "\n"
    )  # the libraries of the environment that runs the tests
    benchflow = venv / "bin" / "benchflow"
    where = run_command(python, "-c", "import benchflow; print(benchflow.__file__)", folder=tmp_path).strip()
    assert Path(where).is_relative_to(venv)
    assert "0.2.0" in run_command(benchflow, "--version", folder=tmp_path)
    shipped = site / "benchflow" / "shipped_procedures" / "wheel-hub.yaml"
    run_command(benchflow, "check", shipped, folder=tmp_path)
    assert "214 in-lb" in run_command(
        benchflow, "calc", "wrench", "torque=300 in-lb", "lever=10 in", "extension=4 in", folder=tmp_path
    )
