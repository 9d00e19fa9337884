"""Serve the page: choose the address, open the browser, stop cleanly."""

from __future__ import annotations

import shutil
import socket
import sys
import threading
import time
import webbrowser
from contextlib import suppress
from pathlib import Path

from filelock import FileLock, Timeout

from bmp.page.app import make_app
from bmp.page.entrance import kept_code, write_opener
from bmp.page.guard import Access
from bmp.page.open_trial import OpenTrial
from bmp.page.trial_folders import NEW, UPLOAD, places
from bmp.page.worker import Workers
from bmp.problem import Problem, UnusableInput

DONE = 0
OWN = "127.0.0.1"
LOCK = ".bmp-page.lock"
OPENER_STAYS_S = 60.0


def serve(folder: Path, port: int, browser: bool, network: bool) -> int:
    """Serve a folder of trials until it is stopped.

    Parameters
    ----------
    folder
        Made where it is not there. A folder that is a trial itself is shown alone.
    port
        0: any free one.
    browser
        Whether to open the browser.
    network
        Whether to ask to open the page to the local network too.

    Raises
    ------
    UnusableInput
        The folder or the port cannot be used, or another page serves the folder already.
    """
    root, only = _root(folder)
    addresses = [OWN]
    if network:
        addresses += _network_address()
    lock = FileLock(root / LOCK)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        what, wanted = "another bmp page works on this folder", "use that one, or stop it first"
        raise UnusableInput([Problem(str(folder), what, wanted)]) from None
    except OSError as error:
        print(f"{root}: {error.strerror or error}. The trials can be looked at, not changed.")
    try:
        return _run(root, only, addresses, port, browser)
    finally:
        lock.release()


def _root(folder: Path) -> tuple[Path, str]:
    if folder.exists() and not folder.is_dir():
        wanted = "give the folder that holds the trials"
        raise UnusableInput([Problem(str(folder), "this is a file", wanted)])
    if (folder / "trial.csv").is_file():
        full = folder.resolve()
        return full.parent, full.name
    folder.mkdir(parents=True, exist_ok=True)
    return folder.resolve(), ""


def _network_address() -> list[str]:
    """Ask whether the network may come in, and return this machine's address there."""
    address = _own_network_address()
    print(
        f"Everyone in the local network who has the code could read and change all "
        f"trials here, at {address}. What is sent is not encrypted.\n"
        "Do this only in a network whose people you trust. Type yes to open it: ",
        end="",
        flush=True,
    )
    if sys.stdin.readline().strip().lower() != "yes":
        raise UnusableInput(
            [Problem("--network", "not opened to the network", "leave the option away")]
        )
    return [address]


def _own_network_address() -> str:
    """Return this machine's address in its network, without sending anything."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # TEST-NET-1 of RFC 5737: nobody's address; a datagram socket only looks up the route
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            wanted = "connect it first"
            problem = Problem("--network", "this machine is in no network", wanted)
            raise UnusableInput([problem]) from None


def _run(root: Path, only: str, addresses: list[str], port: int, browser: bool) -> int:
    from bmp.page.connections import make_server

    _bring_up_to_date(root, only)
    sockets = _sockets(addresses, port)
    port = int(sockets[0].getsockname()[1])
    code = kept_code(root)
    hosts = frozenset({f"localhost:{port}", *(f"{address}:{port}" for address in addresses)})
    workers = Workers()
    app = make_app(root, Access(hosts, code, f"bmp-page-{port}"), only, workers.run)
    workers.warm_up()
    server = make_server(app, sockets, app.config["MAX_CONTENT_LENGTH"] + 100_000)
    print(f"Trials lie in {root / only}", flush=True)
    _say(addresses, port, code)
    opener = _open(root, f"http://{OWN}:{port}/enter?code={code}") if browser else None
    try:
        server.run()
    except KeyboardInterrupt:
        pass
    finally:
        if opener is not None:
            opener.unlink(missing_ok=True)
        app.extensions["bmp"].close()
        server.close()
        workers.close()
    return DONE


def _bring_up_to_date(root: Path, only: str) -> None:
    """Bring tables up to journals that a stopped page left ahead of them."""
    for left in [*root.glob(f"{NEW}*"), *root.glob(f"{UPLOAD}*")]:
        # half made when the page was stopped; never acknowledged
        if left.is_dir() and not left.is_symlink():
            shutil.rmtree(left, ignore_errors=True)
        else:
            with suppress(OSError):
                left.unlink()
    for place in places(root):
        if not place.is_workbook and not place.refused and (not only or place.name == only):
            try:
                OpenTrial(place.path)
            except (UnusableInput, OSError) as error:
                print(f"{place.name}: {error}", file=sys.stderr)


def _sockets(addresses: list[str], port: int) -> list[socket.socket]:
    from bmp.page.connections import bound_socket

    found: list[socket.socket] = []
    for address in addresses:
        try:
            found.append(bound_socket(address, found[0].getsockname()[1] if found else port))
        except (OSError, OverflowError) as error:
            words = getattr(error, "strerror", None) or str(error)
            wanted = "give another with --port, or --port 0 for any free one"
            raise UnusableInput([Problem(f"port {port}", words, wanted)]) from None
    return found


def _say(addresses: list[str], port: int, code: str) -> None:
    print(f"The page is at http://{OWN}:{port}/enter?code={code}", flush=True)
    for address in addresses[1:]:
        print(
            f"In the network: http://{address}:{port}/ with the code {code}\n"
            "Whoever has this code can read and change the trials.",
            flush=True,
        )
    print("Stop it with Ctrl+C; everything typed is kept.", flush=True)


def _open(root: Path, link: str) -> Path | None:
    """Open the browser by a file that only this user can read, and remove it later."""
    try:
        opener = write_opener(root, link)
    except OSError:
        return None

    def lead() -> None:
        webbrowser.open(opener.as_uri())
        time.sleep(OPENER_STAYS_S)
        opener.unlink(missing_ok=True)

    threading.Thread(target=lead, daemon=True).start()
    return opener
