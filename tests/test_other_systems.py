"""Windows and macOS by their behaviour: system functions that answer as theirs do, their consoles.

Also faults of any system: full disks, closed pipes, a parent that is killed.
"""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from bmp import cli, moving
from bmp.archive import run as archive_run
from bmp.archive.run import run_archive
from bmp.cli import main
from bmp.commands.terminal import progress, words_of
from bmp.page.trial_folders import safe_name
from bmp.problem import UnusableInput
from bmp.report import folder, second_process
from tests.tables import tables, write_csv, write_xlsx

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "examples" / "cheese_dairy"
FORMAT = "made-for-a-test"


def write_one(place: Path, text: str = "new") -> None:
    folder.write_folder(place, FORMAT, lambda new: _put(new / "results.xlsx", text))


def _put(path: Path, text: str) -> None:
    path.write_text(text)


class WindowsError5(PermissionError):
    """What Windows raises while another program holds a file."""

    def __init__(self, path: object) -> None:
        super().__init__(errno.EACCES, "Access is denied", str(path))
        self.winerror = 5


@pytest.fixture
def no_swap(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two folders cannot be swapped in one step, as on Windows and macOS."""
    monkeypatch.setattr(folder, "_exchange", lambda one, other: False)
    monkeypatch.setattr(moving, "WAITS_S", (0.0, 0.0))


# --- folders on a shared drive -----------------------------------------------------------------


def test_results_are_open_to_whom_their_place_is_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder of `tempfile` has mode 0o700, which Windows makes an access list of one person."""
    modes = []
    plain = os.mkdir

    def mkdir(path: object, mode: int = 0o777, **other: object) -> None:
        modes.append(mode)
        plain(path, mode, **other)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "mkdir", mkdir)
    old = os.umask(0o002)
    try:
        write_one(tmp_path / "out")
    finally:
        os.umask(old)
    assert set(modes) == {0o777}
    assert (tmp_path / "out").stat().st_mode & 0o777 == 0o775


@pytest.mark.usefixtures("no_swap")
def test_a_spreadsheet_that_lets_go_in_time_is_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_one(tmp_path / "out", "old")
    plain, tries = os.replace, []

    def replace(source: object, target: object) -> None:
        tries.append(source)
        if len(tries) == 1:
            raise WindowsError5(source)
        plain(source, target)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "replace", replace)
    write_one(tmp_path / "out")
    assert (tmp_path / "out" / "results.xlsx").read_text() == "new"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.usefixtures("no_swap")
def test_results_that_a_spreadsheet_holds_are_kept_and_the_new_ones_lie_beside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    write_one(out, "old")
    plain = os.replace

    def replace(source: object, target: object) -> None:
        if Path(str(source)) == out:
            raise WindowsError5(source)
        plain(source, target)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "replace", replace)
    with pytest.raises(UnusableInput, match="close the file and type the same again") as told:
        write_one(out)
    assert (out / "results.xlsx").read_text() == "old"
    assert (tmp_path / "out-new-1" / "results.xlsx").read_text() == "new"
    assert "out-new-1" in str(told.value)
    monkeypatch.setattr(os, "replace", plain)
    write_one(out)
    assert (out / "results.xlsx").read_text() == "new"


def test_other_refusals_are_not_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(time, "sleep", lambda seconds: pytest.fail("waited"))
    with pytest.raises(FileNotFoundError):
        moving.move(tmp_path / "nothing", tmp_path / "place")


@pytest.mark.parametrize("title", ["nul", "NUL.txt", "com1.2027", "aux .notes", "LPT9", "com¹"])
def test_names_of_devices_are_no_names_of_folders(title: str) -> None:
    """Windows takes `nul.txt` and `nul.txt-trial` for the device: what is before the first dot."""
    first = safe_name(title).split(".")[0].rstrip().lower()
    assert first not in {"con", "prn", "aux", "nul"}
    assert not (first[:3] in {"com", "lpt"} and first[3:].isdigit())


# --- work beside -------------------------------------------------------------------------------


def test_macos_is_not_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(os, "fork", lambda: pytest.fail("a copy was made"))
    second_process.start_beside(lambda: _put(tmp_path / "done", "yes"))()
    assert (tmp_path / "done").read_text() == "yes"


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="copies are made on Linux only")
def test_a_copy_that_hangs_is_ended_and_its_work_done_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = os.getpid()
    monkeypatch.setattr(second_process, "LONGEST_S", 0.3)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)

    def work() -> None:
        if os.getpid() != here:
            time.sleep(60)
        _put(tmp_path / "done", "yes")

    begin = time.monotonic()
    second_process.start_beside(work)()
    assert (tmp_path / "done").read_text() == "yes"
    assert time.monotonic() - begin < 10


# --- consoles and pipes ------------------------------------------------------------------------


def run(*words: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "bmp", *words], capture_output=True, check=False, cwd=ROOT,
        env={**os.environ, **environment},
    )  # fmt: skip


@pytest.mark.parametrize("encoding", ["ascii", "cp437", "cp1250"])
def test_a_console_that_lacks_letters_ends_no_command(encoding: str) -> None:
    done = run("tank", "examples/cheese_dairy", PYTHONIOENCODING=encoding)
    assert done.returncode == 0, done.stderr
    assert b"does not know why" not in done.stderr
    assert len(done.stdout.decode(encoding).splitlines()) > 5


def test_plan_and_names_of_other_alphabets_on_an_old_console(tmp_path: Path) -> None:
    out = str(tmp_path / "plan")
    done = run("plan", "examples/cheese_dairy_request", "--out", out, PYTHONIOENCODING="cp437")
    assert done.returncode == 0, done.stderr
    table = {
        name: [[cell if cell != "oats" else "коровий навоз" for cell in row] for row in rows]
        for name, rows in tables().items()
    }
    place = write_csv(tmp_path / "t", table)
    done = run("analyze", str(place), PYTHONIOENCODING="cp1252")
    assert done.returncode == 0, done.stderr
    assert run("--help", PYTHONIOENCODING="ascii").returncode == 0


def test_the_line_of_the_step_at_work_needs_no_erase_code(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    show = progress()
    for step in ("a long step", "short", ""):
        show(step)
    said = capsys.readouterr().err
    assert "\033" not in said
    screen = [" "] * 40
    at = 0
    for letter in said:
        if letter == "\r":
            at = 0
        else:
            screen[at] = letter
            at += 1
    assert not "".join(screen).strip()
    assert at == 0


def test_a_closed_pipe_of_windows_is_no_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows says EINVAL where others say EPIPE."""
    closed = OSError(errno.EINVAL, "Invalid argument")
    assert not cli._pipe_closed(closed)
    monkeypatch.setattr(os, "name", "nt")
    assert cli._pipe_closed(closed)
    assert not cli._pipe_closed(OSError(errno.EINVAL, "Invalid argument", "some file"))


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("command", ["tank", "check"])
def test_a_full_disk_under_the_output_is_told_once(command: str) -> None:
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "bmp", command, str(DEMO)],
            stdout=full, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1].endswith(
        "the disk is full; make room there, or write to another one"
    )
    assert "Exception ignored" not in done.stderr


def test_a_full_disk_under_the_results_says_where(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(self: Path, *args: object, **kwargs: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    place = write_csv(tmp_path / "t", tables())
    monkeypatch.setattr(Path, "write_bytes", full)
    assert main(["analyze", str(place)]) == 2
    told = capsys.readouterr().err
    assert told == (
        f"{tmp_path / 't-results'}: the disk is full; make room there, or write to another one\n"
    )
    assert [path.name for path in tmp_path.iterdir()] == ["t"]


@pytest.mark.parametrize("way", [["--demo"], ["--plan"], ["--logbook", "volume"]])
def test_a_full_disk_leaves_no_half_begun_trial(
    way: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    def full(self: Path, data: bytes) -> int:
        with self.open("wb") as file:
            file.write(data[: len(data) // 2])
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    assert main(["start", str(tmp_path / "new"), *way]) == 2
    assert "the disk is full" in capsys.readouterr().err
    assert list((tmp_path / "new").iterdir()) == []


def test_what_another_program_holds_is_told() -> None:
    assert words_of(WindowsError5("readings.csv")) == (
        "readings.csv: another program holds this open; close it there and type the same again"
    )


# --- limits ------------------------------------------------------------------------------------


@pytest.mark.parametrize("altitude", [50_000, 1e9, -5000])
@pytest.mark.parametrize("command", ["analyze", "plan"])
def test_an_altitude_where_nobody_lives_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str, altitude: float
) -> None:
    source = DEMO if command == "analyze" else ROOT / "examples" / "cheese_dairy_request"
    place = tmp_path / "t"
    place.mkdir()
    for path in source.glob("*.csv"):
        lines = path.read_text(encoding="utf-8").splitlines()
        if path.stem in ("trial", "plan"):
            lines = [line for line in lines if not line.startswith(("ambient", "altitude"))]
            lines.append(f"altitude [m],{altitude}")
        (place / path.name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert main([command, str(place)]) == 2
    told = capsys.readouterr().err
    assert "between -450 and 6,000 m" in told
    assert "does not know why" not in told


def test_a_workbook_with_macros_is_read(tmp_path: Path) -> None:
    book = write_xlsx(tmp_path / "oats.xlsx", tables())
    assert main(["check", str(book.rename(tmp_path / "oats.xlsm"))]) in (0, 1)


def test_an_opendocument_sheet_says_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "oats.ods"
    sheet.write_bytes(b"PK\x03\x04" + b"\0" * 26 + b"mimetypeapplication/vnd.oasis.opendocument")
    assert main(["analyze", str(sheet)]) == 2
    assert "open it and save it as .xlsx" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["0", "-3", "many", "1.5", "²"])
def test_a_number_of_processes_is_one_or_more(
    text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["archive", "x", f"--workers={text}"])
    assert ended.value.code == 2
    assert "write 1 or more" in capsys.readouterr().err


def test_no_more_processes_than_processors(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[int] = []

    @contextmanager
    def count(workers: int) -> Iterator[tuple[None, int]]:
        started.append(workers)
        yield None, 1

    monkeypatch.setattr(archive_run, "_processes", count)
    monkeypatch.setattr(archive_run, "_large", lambda place: True)
    write_csv(tmp_path / "trials" / "one", tables())
    run_archive(tmp_path / "trials", tmp_path / "kept", 100_000, look=False)
    assert started == [os.cpu_count() or 1]


def test_an_archive_tells_what_it_did_not_use(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("pyarrow")
    place = tmp_path / "trials"
    write_csv(place / "one", tables())
    assert main(["archive", str(place), "--skip-reading-errors"]) == 0
    capsys.readouterr()
    write_csv(place / "2027" / "spring" / "two", tables())
    (place / "old.ods").write_bytes(b"PK\x03\x04")
    assert main(["archive", str(place), "--skip-reading-errors"]) == 1
    said = capsys.readouterr().out
    assert "Trials not used: 2;" in said
    refused = (tmp_path / "trials-archive" / "refused.csv").read_text(encoding="utf-8")
    assert "2027/spring/two" in refused
    assert "lies deeper in the folder and was not read" in refused
    assert "old" in refused


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks at processes in /proc")
@pytest.mark.parametrize("way", ["fork", "spawn"])
def test_processes_end_with_the_one_that_started_them(way: str) -> None:
    code = (
        "import os, sys, time\n"
        "from bmp.archive import run\n"
        "if __name__ == '__main__':\n"
        f"    sys.platform = 'linux' if {way!r} == 'fork' else 'darwin'\n"
        "    with run._processes(2) as (pool, _):\n"
        "        pids = {pool.submit(os.getpid).result() for _ in range(20)}\n"
        "        waits = [pool.submit(time.sleep, 60) for _ in range(2)]\n"
        "        from multiprocessing import active_children\n"
        "        print(*(child.pid for child in active_children()), flush=True)\n"
        "        time.sleep(60)\n"
    )
    script = [sys.executable, "-c", code]
    parent = subprocess.Popen(script, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    assert parent.stdout is not None
    children = [int(word) for word in parent.stdout.readline().split()]
    assert len(children) >= 1
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    parent.stdout.close()
    last = time.monotonic() + 10
    while any(map(_runs, children)) and time.monotonic() < last:
        time.sleep(0.05)
    assert not any(map(_runs, children))


def _runs(process: int) -> bool:
    try:
        state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in ("Z", "X")
