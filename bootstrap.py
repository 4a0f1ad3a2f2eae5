"""Finds or makes the environment that the checkout runs in, with the standard library of any Python from 3.8 on.

The environment is the folder `.venv`. A file `ready-<kind>-<hash>` in it says: the lock file of this kind, with this
content, is installed completely. It is written last: whatever interrupts an installation, the next start repeats it.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Iterator, NoReturn

HERE = Path(__file__).resolve().parent
ENVIRONMENT = HERE / ".venv"
PYTHON = ENVIRONMENT / "bin" / "python"
VERSION = (3, 11)
LOCKS = {"run": HERE / "requirements.txt", "dev": HERE / "requirements-dev.txt"}
# An operating system may bring Django alone; nothing but an environment made for this project brings all of these.
PACKAGES = {"run": ("django", "allauth", "celery"), "dev": ("django", "allauth", "celery", "pytest")}
CREATING = ("demo", "pytest")
SETUP = "python3 manage.py setup"


def enter(arguments: list[str]) -> None:
    """Returns when this interpreter can run the command through Django; otherwise goes on in the environment."""
    if os.name == "nt":
        sys.exit("Windows runs this inside WSL: open a WSL shell and start there.")
    command, rest = (arguments[0] if arguments else "help"), arguments[1:]
    if command == "setup":
        setup(rest)
        sys.exit()
    kind = "dev" if command == "pytest" else "run"
    if not has_packages(kind):
        reach(command, kind)
        start(PYTHON, command, rest)
    if command == "pytest":
        start(Path(sys.executable), command, rest)


def setup(options: list[str]) -> None:
    if options not in ([], ["--dev"]):
        sys.exit(f"`{SETUP}` knows one option: --dev, which adds the tools for development.")
    kind = "dev" if options else "run"
    if has_packages(kind) and not is_inside():
        print("This Python already has every package, so no environment is needed.")
        return
    provide(kind)
    print(f"The environment is ready: go on with `python3 manage.py {'pytest' if options else 'demo'}`.")


def reach(command: str, kind: str) -> None:
    """Makes sure that an environment of this kind exists, or ends with the reason why not."""
    if is_inside() and is_ready(kind):
        sys.exit(f"{ENVIRONMENT} has lost packages: delete that folder, then run `{SETUP}`.")
    if has_packages("run") and not is_inside():
        sys.exit(
            f"This Python has Django but not pytest: install {LOCKS['dev'].name} into it, or start another Python."
        )
    if command in CREATING:
        provide(kind)
    elif not is_ready(kind):
        is_old = any(ENVIRONMENT.glob(f"ready-{kind}-*"))
        reason = f"{LOCKS[kind].name} has changed" if is_old else "The environment is missing or incomplete"
        sys.exit(f"{reason}: run `{SETUP}` first.")


def start(python: Path, command: str, rest: list[str]) -> NoReturn:
    """Becomes the other interpreter."""
    arguments = sys.argv
    if command == "pytest":
        os.chdir(HERE)
        arguments = ["-m", "pytest", *rest]
    try:
        os.execv(python, [str(python), *arguments])
    except OSError as error:
        sys.exit(f"{python} does not start ({error.strerror}): delete {ENVIRONMENT}, then run `{SETUP}`.")


def has_packages(kind: str) -> bool:
    return all(importlib.util.find_spec(name) for name in PACKAGES[kind])


def is_inside() -> bool:
    """Whether this interpreter is the environment's own."""
    return Path(sys.prefix).resolve() == ENVIRONMENT.resolve()


def marker(kind: str) -> Path:
    return ENVIRONMENT / f"ready-{kind}-{hashlib.sha256(LOCKS[kind].read_bytes()).hexdigest()[:16]}"


def is_ready(kind: str) -> bool:
    """The development lock installs on top of the run lock: it is ready when both are."""
    return marker("run").exists() and marker(kind).exists()


def provide(kind: str) -> None:
    """Makes the environment, or installs a lock that has changed; nothing happens when it is ready."""
    if is_ready(kind):
        return
    if not is_ready("run"):  # otherwise what is added on top changes nothing that runs
        refuse_under_supervisor()
    with alone():
        if not is_ready(kind):
            make_environment()
            print(f"Installing {LOCKS[kind].name} into {ENVIRONMENT}; this may take a minute.", file=sys.stderr)
            install(kind)


def refuse_under_supervisor() -> None:
    import fcntl

    lock_file = Path(os.environ.get("PMCORE_DATA", "").strip() or HERE / "data") / "supervisor.lock"
    try:
        with lock_file.open() as file:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        sys.exit(f"The locked requirements changed while a supervisor runs (it holds {lock_file}): stop it first.")
    except OSError:
        return  # no such file: no supervisor


@contextlib.contextmanager
def alone() -> Iterator[None]:
    """Two starts at once: the second waits until the first has finished, and then finds everything ready."""
    import fcntl

    ENVIRONMENT.mkdir(exist_ok=True)
    with (ENVIRONMENT / "setup.lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def make_environment() -> None:
    """Leaves an environment that works, and has pip unless uv will install; never deletes what it did not make."""
    has_uv = shutil.which("uv") is not None
    if PYTHON.is_symlink() or PYTHON.exists():
        if not answers(PYTHON, f"import sys; sys.exit(sys.version_info[:2] != {VERSION})"):
            sys.exit(f"{ENVIRONMENT} holds no working Python {dotted()}: delete that folder, then start again.")
        if has_uv or answers(PYTHON, "import pip"):
            return
    python = find_python()
    if not answers(python, "import venv" if has_uv else "import venv, ensurepip"):
        sys.exit(
            f"{python} cannot make environments: its `venv` or `ensurepip` module is missing. "
            f"On Debian and Ubuntu, `apt install python{dotted()}-venv` brings it."
        )
    run(python, "-m", "venv", *(["--without-pip"] if has_uv else []), ENVIRONMENT)


def install(kind: str) -> None:
    """Installs exactly what the lock names; every archive must match its hash, and none is built here."""
    markers = {"run": marker("run"), "dev": marker("dev")}
    for old in set(ENVIRONMENT.glob("ready-*")) - set(markers.values()):
        old.unlink()
    uv = shutil.which("uv")
    installer = [uv, "pip", "install", "--python", str(PYTHON)] if uv else [str(PYTHON), "-m", "pip", "install"]
    run(*installer, "--quiet", "--only-binary", ":all:", "--require-hashes", "-r", LOCKS[kind])
    markers["run"].touch()
    markers[kind].touch()


def find_python() -> str:
    if sys.version_info[:2] == VERSION:
        return sys.executable
    python = shutil.which(f"python{dotted()}")
    if python is None or not answers(python, "import sys"):
        sys.exit(
            f"Python {dotted()} is needed, this is {sys.version.split()[0]}, and no python{dotted()} is on the path. "
            f"On Debian and Ubuntu, `apt install python{dotted()} python{dotted()}-venv` brings it."
        )
    return python


def dotted() -> str:
    return ".".join(map(str, VERSION))


def answers(python: str | Path, code: str) -> bool:
    try:
        return subprocess.run([python, "-c", code], stderr=subprocess.DEVNULL).returncode == 0
    except OSError:
        return False


def run(*command: str | Path) -> None:
    if subprocess.run(command).returncode != 0:
        sys.exit(f"`{' '.join(map(str, command))}` failed for the reason above; starting again goes on from here.")
