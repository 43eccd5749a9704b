"""The built wheel, installed into an environment of its own, does the job without the checkout."""

from __future__ import annotations

import subprocess
import sys
import sysconfig
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_the_wheel_runs_the_demo(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(tmp_path), str(ROOT)],
        check=True,
        capture_output=True,
    )
    [wheel] = tmp_path.glob("*.whl")
    place = tmp_path / "env"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(place)], check=True)
    # The libraries come from the environment that runs the tests; loomproof itself from the wheel alone.
    inside = place / "lib" / f"python{sys.version_info.major}.{sys.version_info.minor}" / "site-packages"
    subprocess.run(
        [
            *(sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index"),
            *("--target", str(inside), str(wheel)),
        ],
        check=True,
    )
    (inside / "libraries.pth").write_text(sysconfig.get_paths()["purelib"] + "\n", encoding="utf-8")
    python = place / "bin" / "python"
    where = subprocess.run(
        [python, "-c", "import loomproof; print(loomproof.__file__)"],
        check=True,
        capture_output=True,
        text=True,
        cwd=tmp_path,
    )
    assert Path(where.stdout.strip()).is_relative_to(place)
    done = subprocess.run(
        [python, "-m", "loomproof", "demo"], check=False, capture_output=True, text=True, cwd=tmp_path
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert len(list((tmp_path / "out").glob("*.pdf"))) == 2
