"""A wheel built here and installed elsewhere carries its catalogue and its command with it."""

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
from hashlib import sha256
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


def run(*command: str | Path, cwd: Path = ROOT) -> str:
    """Run a command outside the reach of this tree's own path; its standard output."""
    environment = {key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "TIPIN"))}
    done = subprocess.run([str(word) for word in command], cwd=cwd, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An environment that holds tipin from its wheel, and tipin's dependencies from the environment of the tests."""
    place = tmp_path_factory.mktemp("wheel")
    pip = (sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check")
    run(*pip, "wheel", "--no-deps", "--no-build-isolation", "--wheel-dir", place, ROOT)
    (wheel,) = place.glob("tipin-*.whl")
    environment = place / "environment"
    venv.create(environment, with_pip=False)
    python = environment / "bin" / "python"
    run(*pip, "--python", python, "install", "--no-deps", "--no-index", wheel)
    packages = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=place).strip())
    # A path line makes the dependencies importable, but not an editable tipin: path files there are not read again.
    (packages / "dependencies.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    return environment


def test_the_installed_package_finds_its_catalogue(installed: Path, tmp_path: Path) -> None:
    program = (
        "import configurator\n"
        "from configurator.catalogue.load import load_catalog, shipped_catalog_dir\n"
        "directory = shipped_catalog_dir()\n"
        "print(configurator.__file__, directory, len(load_catalog(directory).nozzles), sep='\\n')\n"
    )
    module, directory, nozzles = run(installed / "bin" / "python", "-c", program, cwd=tmp_path).splitlines()
    assert Path(module).is_relative_to(installed)
    assert Path(directory).is_relative_to(installed)
    assert int(nozzles) >= 50
    assert (Path(directory) / "examples" / "tow-truck.toml").is_file()


def test_the_installed_command_runs(installed: Path, tmp_path: Path) -> None:
    assert "propose" in run(installed / "bin" / "tipin", "--help", cwd=tmp_path)


def test_the_licence_travels_with_the_wheel(installed: Path) -> None:
    (licence,) = installed.rglob("tipin-*.dist-info/licenses/docs/LICENSE")
    assert licence.read_text(encoding="utf-8").startswith("MIT License")


def test_wheel_and_sdist_are_the_same_wherever_and_whenever_they_are_built(tmp_path: Path) -> None:
    """From two copies of the tree, the second with other times and other rights."""
    made = []
    for name, mode, at in (("first", 0o644, 1_700_000_000), ("second", 0o600, 1_800_000_000)):
        tree = tmp_path / name / "tree"
        tree.mkdir(parents=True)
        for part in ("README.md", "pyproject.toml", ".gitignore"):
            shutil.copy(ROOT / part, tree)
        for part in ("configurator", "catalog", "docs"):
            shutil.copytree(ROOT / part, tree / part, ignore=shutil.ignore_patterns("__pycache__"))
        for path in tree.rglob("*"):
            if path.is_file():
                path.chmod(mode)
            os.utime(path, (at, at))
        run(sys.executable, "-m", "build", "--no-isolation", "--outdir", tmp_path / name / "dist", tree, cwd=tmp_path)
        made.append({path.name: sha256(path.read_bytes()).hexdigest() for path in (tmp_path / name / "dist").iterdir()})
    assert made[0] == made[1] and {Path(name).suffix for name in made[0]} == {".whl", ".gz"}
