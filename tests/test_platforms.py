"""Systems of others, as far as they can be played here: consoles, encodings, line ends, open files, calls they lack."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import shipped_text

from headjoint.cases.command.stated_files import shipped_files
from headjoint.model.base import system
from headjoint.model.base.errors import InputError
from headjoint.model.base.whole_files import moved_in_whole, write_whole
from headjoint.model.reading.reading import parse_joint, read_joint
from headjoint.model.rig.log import read_log

ROOT = Path(__file__).parent.parent
MODULES = [path for layer in ("model", "meshes", "cases", "postproc") for path in sorted((ROOT / layer).rglob("*.py"))]
OWN_WAYS = ROOT / "model" / "base" / "system.py"  # the one module that may use what only some systems have
OF_SOME = {
    "modules": {"fcntl", "resource", "pwd", "grp", "termios", "tty", "pty", "posix", "syslog", "msvcrt", "winreg", "ctypes.windll"},
    "os": {"fork", "forkpty", "getuid", "geteuid", "getgid", "setsid", "getsid", "killpg", "getpgid", "mkfifo", "uname",
           "sched_getaffinity", "sysconf", "chown", "nice", "getloadavg", "wait", "waitpid", "startfile", "posix_spawn"},
    "signal": {"SIGKILL", "SIGALRM", "SIGPIPE", "SIGHUP", "SIGUSR1", "SIGUSR2", "SIGCHLD", "alarm", "setitimer", "pause"},
    "ctypes": {"windll", "WinDLL"},
}  # fmt: skip
PLACES = ("/proc", "/dev/", "/sys/", "/tmp", "/etc/", "/usr/", "C:\\")


def of_some_systems(text: str) -> set[str]:
    """What a module uses that only some systems have."""
    found = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names} & OF_SOME["modules"]
        elif isinstance(node, ast.ImportFrom):
            found |= {node.module} & OF_SOME["modules"]
            found |= {alias.name for alias in node.names} & OF_SOME.get(node.module or "", set())
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            found |= {node.attr} & OF_SOME.get(node.value.id, set())
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found |= {place for place in PLACES if node.value.startswith(place)}
    return found


def test_what_only_some_systems_have_stands_in_one_module():
    used = {str(path.relative_to(ROOT)): of_some_systems(path.read_text("utf-8")) for path in MODULES}
    assert {name: what for name, what in used.items() if what and ROOT / name != OWN_WAYS} == {}
    assert used[str(OWN_WAYS.relative_to(ROOT))] == {
        "sched_getaffinity",
        "getloadavg",
        "sysconf",
        "windll",
        "/proc",
        "/sys/",
    }


@pytest.mark.parametrize(
    "line",
    ["import fcntl", "from resource import getrusage", "import os; os.fork()", "import signal; signal.SIGKILL", "x = '/tmp/a'",
     "from os import fork"],
)  # fmt: skip
def test_the_look_for_such_calls_finds_them(line):
    assert of_some_systems(line)


def said(*arguments: str, encoding: str, folder: Path) -> subprocess.CompletedProcess[bytes]:
    surroundings = os.environ | {"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    command = [sys.executable, "-m", "headjoint.cases.cli", *arguments]
    return subprocess.run(command, cwd=folder, env=surroundings, capture_output=True, check=False)


@pytest.mark.parametrize("encoding", ["cp1252", "ascii"])
def test_a_console_that_lacks_letters_shows_marks_for_them_and_the_answer(encoding, tmp_path):
    text = shipped_text("boosted-four-copper").replace('name = "boosted four', 'name = "Größe ✓ 漢', 1)
    (tmp_path / "Größe.toml").write_text(text, encoding="utf-8")
    done = said("estimate", "Größe.toml", "-o", "out", "--no-pictures", encoding=encoding, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "? ?, solid copper gasket".encode(encoding) in done.stdout
    assert ("Größe" if encoding == "cp1252" else "Gr??e").encode(encoding) in done.stdout
    assert "Größe ✓ 漢" in (tmp_path / "out" / "result.json").read_text("utf-8").encode().decode("unicode_escape")


def test_files_of_editors_that_write_utf_16_or_latin_letters_are_refused_with_what_to_do(tmp_path):
    for encoding in ("utf-16", "latin-1"):
        path = tmp_path / f"{encoding}.toml"
        path.write_bytes(shipped_text("boosted-four-copper").replace('name = "', 'name = "é', 1).encode(encoding))
        with pytest.raises(InputError, match="is not UTF-8 text.*save it as UTF-8"):
            read_joint(path)
    log = shipped_files("logs")["stud-dry"].read_text("utf-8")
    (tmp_path / "log.csv").write_bytes(log.encode("utf-16"))
    with pytest.raises(InputError, match="is not UTF-8 text; save it as CSV in UTF-8"):
        read_log(tmp_path / "log.csv")


@pytest.mark.parametrize("start", ["", "\ufeff"])
def test_lines_may_end_as_windows_ends_them_with_or_without_a_mark_at_the_start(start, tmp_path):
    text = shipped_text("boosted-four-copper")
    (tmp_path / "a.toml").write_bytes((start + text.replace("\n", "\r\n")).encode())
    assert read_joint(tmp_path / "a.toml") == parse_joint(text, file="a.toml")
    log = shipped_files("logs")["stud-dry"]
    (tmp_path / log.name).write_bytes((start + log.read_text("utf-8").replace("\n", "\r\n")).encode())
    assert read_log(tmp_path / log.name).line.tolist() == read_log(log).line.tolist()


@pytest.fixture
def windows(monkeypatch):
    """Windows, where a file that a program has open is not moved and not replaced; a set of such files."""
    opened: set[Path] = set()
    replace = Path.replace

    def refusing(source: Path, target: Path) -> Path:
        if {source, Path(target)} & opened:
            raise PermissionError(13, "Access is denied", str(source))
        return replace(source, target)

    monkeypatch.setattr(system, "WINDOWS", True)
    monkeypatch.setattr(system, "WAIT", 0.0)
    monkeypatch.setattr(Path, "replace", refusing)
    return opened


def write(folder: Path, word: str) -> list[Path]:
    with moved_in_whole(folder) as (scratch, written):
        for name in ("report.html", "report.pdf", "result.json"):
            (scratch / name).write_text(word)
    return written


def contents(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text() for path in folder.iterdir()}


def test_an_answer_that_somebody_has_open_stays_whole_and_is_named(windows, tmp_path):
    folder = tmp_path / "out"
    write(folder, "first")
    before = contents(folder)
    for held in sorted(before):
        windows.add(folder / held)
        with pytest.raises(PermissionError, match="another program has it open") as refused:
            write(folder, "second")
        assert refused.value.filename == str(folder / held)
        assert contents(folder) == before
        windows.clear()
    assert list(tmp_path.iterdir()) == [folder]
    assert {path.name for path in write(folder, "second")} == set(before)
    assert contents(folder) == dict.fromkeys(before, "second")


def test_a_file_that_a_scanner_holds_for_an_instant_is_replaced_all_the_same(windows, tmp_path, monkeypatch):
    path = tmp_path / "answer.json"
    path.write_text("first")
    windows.add(path)
    tried = []
    monkeypatch.setattr(system.time, "sleep", lambda seconds: (tried.append(seconds), windows.clear()))
    write_whole(path, b"second")
    assert path.read_text() == "second"
    assert len(tried) == 1


def test_other_systems_do_not_wait_where_a_folder_may_not_be_written(monkeypatch, tmp_path):
    def refusing(source: Path, target: Path) -> Path:
        raise PermissionError(13, "Permission denied", str(source))

    monkeypatch.setattr(Path, "replace", refusing)
    monkeypatch.setattr(system.time, "sleep", lambda seconds: pytest.fail("waited"))
    with pytest.raises(PermissionError, match="Permission denied"):
        system.replaced(tmp_path / "a", tmp_path / "b")


def test_processes_are_begun_as_windows_begins_them_whatever_the_system():
    begun = [
        path
        for path in MODULES
        if "multiprocessing" in path.read_text("utf-8") and "get_context" in path.read_text("utf-8")
    ]
    assert begun
    assert all('get_context("spawn")' in path.read_text("utf-8") for path in begun)
    others = [path.name for path in MODULES if path not in begun and "ProcessPoolExecutor(" in path.read_text("utf-8")]
    assert others == []
