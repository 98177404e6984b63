#!/usr/bin/env python3
"""One command for each thing a developer, a reader or the build machine does.

    python3 dev.py demo      make the environment, work a complete invented job, keep its record
    python3 dev.py test      make the environment, run every test (more words go to pytest)
    python3 dev.py lint      style and import direction of the whole tree
    python3 dev.py type      strict types of the whole tree
    python3 dev.py bench     measured speeds and ratios, one table
    python3 dev.py setup     make the environment for all of these

Standard library only. The environment is `.venv` beside this file, filled from hashed locks; a
stamp over lock, project file and interpreter makes the second start fast.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
WINDOWS = os.name == "nt"
BIN = VENV / ("Scripts" if WINDOWS else "bin")
PYTHON = BIN / ("python.exe" if WINDOWS else "python")
STAMP = VENV / "idlewright-stamp.json"
LOCKS = {"run": "requirements.lock", "dev": "requirements-dev.lock"}
SYSTEM_PROGRAMS = {"ngspice": "ngspice"}
"""Programs the tests need from the system -> the Debian package that brings them."""

LAUNCHER = """\
#!{python}
import sys
from idlewright.cli.entry import main
sys.exit(main())
"""


class Stop(Exception):
    """A reason to end, in one sentence for the person at the keyboard."""

    def __init__(self, says: str, code: int = 1) -> None:
        super().__init__(says)
        self.code = code


def say(text: str) -> None:
    """Tell the person what happens, on standard error, so that standard output stays the tool's."""
    print(f"dev.py: {text}", file=sys.stderr, flush=True)


def can_install_packages() -> bool:
    """True if this is root on a Debian-like system."""
    is_root = not WINDOWS and os.geteuid() == 0
    return is_root and shutil.which("apt-get") is not None


def apt_install(packages: list[str]) -> bool:
    """Install Debian packages; True if that worked. The output goes to standard error."""
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    install = ["apt-get", "install", "-y", "-q", "--no-install-recommends", *packages]
    say(f"installing {' '.join(packages)} from Debian")
    for command in (["apt-get", "update", "-q"], install):
        done = subprocess.run(command, env=environment, stdout=sys.stderr, check=False)
    return done.returncode == 0


def require_ensurepip() -> None:
    """Make sure this Python can make environments, or say what to install.

    Debian's `import venv` works without `ensurepip` and then leaves half an environment behind.
    """
    if importlib.util.find_spec("ensurepip") is not None:
        return
    package = f"python{sys.version_info.major}.{sys.version_info.minor}-venv"
    of_the_system = sys.base_prefix == "/usr"
    if of_the_system and can_install_packages() and apt_install([package]):
        return
    raise Stop(
        f"{sys.executable} has no 'ensurepip', so it cannot make an environment; on Debian or "
        f"Ubuntu run 'sudo apt-get install {package}', elsewhere install a complete Python 3.11 or "
        "newer, then run this again"
    )


def require_programs() -> None:
    """As root on Debian, install what the tests need from the system; elsewhere say what lacks."""
    missing = {name: deb for name, deb in SYSTEM_PROGRAMS.items() if shutil.which(name) is None}
    if not missing:
        return
    if not (can_install_packages() and apt_install(sorted(missing.values()))):
        fate = "fail, because CI is set" if os.environ.get("CI") else "be skipped"
        say(f"{', '.join(missing)} not found and not installed; tests that need it will {fate}")


def fingerprint(kind: str) -> str:
    """SHA-256 over the lock, the project file, this script and the interpreter's version."""
    digest = hashlib.sha256(sys.version.encode())
    for name in (LOCKS[kind], "pyproject.toml", "dev.py"):
        digest.update(b"\0" + (ROOT / name).read_bytes())
    return digest.hexdigest()


def is_ready(kind: str) -> bool:
    """True if the environment already holds what `kind` ("run" or "dev") asks for."""
    try:
        stamps = json.loads(STAMP.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return PYTHON.exists() and stamps.get(kind) == fingerprint(kind)


def pip_works() -> bool:
    """True if the environment's interpreter starts and has pip."""
    if not PYTHON.exists():
        return False
    asked = subprocess.run([PYTHON, "-m", "pip", "--version"], capture_output=True, check=False)
    return asked.returncode == 0


def add_project() -> None:
    """Put `src` on the environment's path and the program in its bin folder.

    A path file instead of an editable install, which would fetch a build tool without its hash.
    """
    ask = "import sysconfig; print(sysconfig.get_path('purelib'))"
    found = subprocess.run([PYTHON, "-c", ask], capture_output=True, text=True, check=True)
    (Path(found.stdout.strip()) / "idlewright-src.pth").write_text(f"{ROOT / 'src'}\n", "utf-8")
    if WINDOWS:
        text = f'@"{PYTHON}" -m idlewright %*\r\n'
        (BIN / "idlewright.cmd").write_text(text, encoding="utf-8", newline="")
    else:
        launcher = BIN / "idlewright"
        launcher.write_text(LAUNCHER.format(python=PYTHON), encoding="utf-8")
        launcher.chmod(0o755)


def make_environment(kind: str) -> None:
    """Make or refresh `.venv` for `kind` ("run": the program alone; "dev": with tests and tools).

    Raises:
        Stop: the environment cannot be made.
    """
    if is_ready(kind):
        return
    require_ensurepip()
    if not pip_works():
        say(f"making {VENV}")
        making = [sys.executable, "-m", "venv", "--clear", str(VENV)]
        if subprocess.run(making, stdout=sys.stderr, check=False).returncode != 0:
            raise Stop(f"could not make {VENV}; the lines above say why")
    say(f"installing what {LOCKS[kind]} lists")
    pip: list[str | Path] = [
        PYTHON,
        "-m",
        "pip",
        "install",
        "--quiet",
        "--disable-pip-version-check",
    ]
    lock: list[str | Path] = [
        "--require-hashes",
        "--only-binary",
        ":all:",
        "-r",
        ROOT / LOCKS[kind],
    ]
    if subprocess.run([*pip, *lock], stdout=sys.stderr, check=False).returncode != 0:
        raise Stop("could not install the locked packages; the lines above say why")
    add_project()
    stamps = {kind: fingerprint(kind)} | ({"run": fingerprint("run")} if kind == "dev" else {})
    STAMP.write_text(json.dumps(stamps), encoding="utf-8")


def run(*command: str | Path) -> int:
    """Run a command from the project's root with one BLAS thread; its exit code."""
    environment = {"OPENBLAS_NUM_THREADS": "1", **os.environ}
    environment["PATH"] = f"{BIN}{os.pathsep}{os.environ.get('PATH', os.defpath)}"
    return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode


def demo(more: list[str]) -> int:
    """Work a complete invented job; the record is kept under `demo-output/`."""
    make_environment("run")
    return run(BIN / "idlewright", "demo", "--out", ROOT / "demo-output", *more)


def test(more: list[str]) -> int:
    """Run every test, two at a time; further words go to pytest."""
    require_programs()
    make_environment("dev")
    return run(PYTHON, "-m", "pytest", "-n", "2", *more)


def lint(more: list[str]) -> int:
    """Style, then import direction; both always run. Further words go to ruff."""
    make_environment("dev")
    style = run(PYTHON, "-m", "ruff", "check", *(more or ["."]))
    floors = run(BIN / "lint-imports", "--no-cache")
    return style or floors


def types(more: list[str]) -> int:
    """Strict types of the whole tree."""
    make_environment("dev")
    return run(PYTHON, "-m", "mypy", *more)


def bench(more: list[str]) -> int:
    """Measured speeds and ratios, as one table; further words name the benches to run."""
    require_programs()
    make_environment("dev")
    return run(PYTHON, "-m", "bench", *more)


def setup(more: list[str]) -> int:
    """Make the environment and nothing else."""
    if more:
        raise Stop("setup takes no further words", code=2)
    make_environment("dev")
    say(f"ready: {BIN / 'idlewright'}")
    return 0


COMMANDS = {
    "demo": demo, "test": test, "lint": lint, "type": types, "bench": bench, "setup": setup,
}  # fmt: skip


def main(words: list[str]) -> int:
    """Do one command; the exit code."""
    if not words or words[0] in {"-h", "--help", "help"}:
        print(__doc__)
        return 0 if words else 2
    try:
        if sys.version_info < (3, 11):  # noqa: UP036 - run by whatever python3 the machine has
            raise Stop(f"Python 3.11 or newer is needed; this is {sys.version.split()[0]}", code=2)
        if words[0] == "bay":
            raise Stop("'bay' (the pages at the car) belongs to a later version", code=2)
        if words[0] not in COMMANDS:
            known = ", ".join(COMMANDS)
            raise Stop(f"no command '{words[0]}'; known are {known}", code=2)
        return COMMANDS[words[0]](words[1:])
    except Stop as stop:
        say(str(stop))
        return stop.code
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
