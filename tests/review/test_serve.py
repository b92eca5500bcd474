"""The command: serves this machine unless told otherwise, says what is wrong, stops by itself."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from shortpencil.forms.errors import InputError
from shortpencil.scan.cli.main import main
from shortpencil.scan.records.store import Store
from shortpencil.scan.review.links import qr_svg, qr_text
from shortpencil.scan.review.serve import Opened, Serving, hosts_of, lan_address, serve
from tests.review.conftest import no_focus

ROOT = Path(__file__).parents[2]


def serve_once(store: Store, tmp_path: Path, *, lan: bool, stop_after_s: float = 0.0) -> Opened:
    opened: list[Opened] = []
    serve(store, tmp_path, no_focus, Serving(0, lan, "Wren", stop_after_s), opened.append)
    return opened[0]


def test_it_serves_this_machine_alone_and_stops_by_itself(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bound: list[tuple[str, int]] = []
    bind = socket.socket.bind

    def spy(self: socket.socket, address: tuple[str, int]) -> None:
        bound.append(address)
        bind(self, address)

    monkeypatch.setattr("shortpencil.scan.review.serve.WATCH_S", 0.05)
    monkeypatch.setattr(socket.socket, "bind", spy)
    opened = serve_once(store, tmp_path, lan=False)
    assert bound == [("127.0.0.1", 0)]
    assert opened.phone is None
    assert opened.laptop.startswith("http://127.0.0.1:")


def test_with_lan_a_phone_gets_a_link_of_its_own(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("shortpencil.scan.review.serve.WATCH_S", 0.05)
    monkeypatch.setattr("shortpencil.scan.review.serve.lan_address", lambda: "192.0.2.7")
    opened = serve_once(store, tmp_path, lan=True)
    assert opened.phone is not None
    assert opened.phone.startswith("http://192.0.2.7:")
    assert opened.phone.split("secret=")[1] != opened.laptop.split("secret=")[1]


def test_only_names_of_this_machine_are_hosts() -> None:
    assert hosts_of(8467, None) == {"127.0.0.1:8467", "localhost:8467"}
    with_lan = hosts_of(8467, "192.0.2.7")
    assert "192.0.2.7:8467" in with_lan
    assert len([host for host in with_lan if host.endswith(".local:8467")]) == 1


def test_no_network_and_a_port_that_is_taken_are_said_so(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("shortpencil.scan.review.serve.lan_address", lambda: None)
    with pytest.raises(InputError, match="--lan: expected this computer in a local network"):
        serve_once(store, tmp_path, lan=True)
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(InputError, match=f"expected port {port} to be free"):
            serve(store, tmp_path, no_focus, Serving(port, False, "Wren", 1.0), lambda _: None)


def test_the_address_in_the_network_is_none_of_loopback() -> None:
    address = lan_address()
    assert address is None or not address.startswith("127.")


@pytest.mark.parametrize("words", [["--port", "65536"], ["--port", "x"], ["--stop-after", "0"]])
def test_wrong_options_are_refused(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["review", *words])
    assert stopped.value.code == 2
    assert "expected" in capsys.readouterr().err


def test_the_code_holds_the_link() -> None:
    cv2 = pytest.importorskip("cv2")
    np = pytest.importorskip("numpy")
    zxingcpp = pytest.importorskip("zxingcpp")
    link = "http://192.0.2.7:8467/enter?secret=" + "a-B_9" * 8
    rows = qr_text(link).splitlines()
    # Half blocks: two modules a sign, the code's dark modules are the terminal's background.
    lit = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    lines = [[lit.get(sign, (0, 0))[half] for sign in row] for row in rows for half in (0, 1)]
    width = max(map(len, lines), default=0)
    picture = np.array([line + [0] * (width - len(line)) for line in lines], np.uint8) * 255
    picture = cv2.resize(picture, None, fx=6, fy=6, interpolation=cv2.INTER_NEAREST)
    found = zxingcpp.read_barcodes(
        cv2.copyMakeBorder(picture, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=255)
    )
    assert [code.text for code in found] == [link]
    svg = qr_svg(link)
    assert svg.startswith("<svg")
    assert "style=" not in svg  # the page's policy forbids it


def test_the_links_alone_go_to_standard_output(place: Path, tmp_path: Path) -> None:
    code = "import sys; from shortpencil.scan.cli.main import main; sys.exit(main(sys.argv[1:]))"
    words = ["review", "--store", str(place), "--port", "0", "--no-browser", "--stop-after", "1"]
    with subprocess.Popen(
        [sys.executable, "-c", code, *words],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "SHORTPENCIL_HOME": str(tmp_path)},
    ) as process:
        assert process.stdout is not None
        link = process.stdout.readline()
        process.terminate()
        rest, told = process.communicate(timeout=20)
    assert link.startswith("http://127.0.0.1:")
    assert rest == ""
    assert "Ctrl+C" in told
    assert "secret" not in told


def test_the_phone_is_let_in_and_kept_out_while_the_page_runs(
    store: Store, place: Path, tmp_path: Path
) -> None:
    import httpx2 as httpx

    # Linux answers on all of 127.0.0.0/8, so that another of its addresses can stand for the network's.
    code = (
        "import sys; from shortpencil.scan.review import serve; serve.lan_address = lambda: '127.0.0.2'; "
        "from shortpencil.scan.cli.main import main; sys.exit(main(sys.argv[1:]))"
    )
    words = ["review", "--store", str(place), "--port", "0", "--no-browser"]
    process = subprocess.Popen(
        [sys.executable, "-c", code, *words],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        env={**os.environ, "SHORTPENCIL_HOME": str(tmp_path / "home")},
    )  # fmt: skip
    try:
        assert process.stdout is not None
        link = process.stdout.readline().strip()
        base, secret = link.split("/enter?secret=")
        phone = base.replace("127.0.0.1", "127.0.0.2")
        with httpx.Client(base_url=base, headers={"origin": base}) as laptop:
            laptop.post("/enter", data={"secret": secret})
            with pytest.raises(httpx.ConnectError):
                httpx.get(phone)
            for _ in range(2):  # on and off, and on and off again
                laptop.post("/phone/switch", data={"on": "yes"})
                assert httpx.get(phone).status_code == 401
                assert phone in laptop.post("/phone").text
                laptop.post("/phone/switch", data={"on": "no"})
                with pytest.raises(httpx.ConnectError):
                    httpx.get(phone)
            assert laptop.get("/phone").status_code == 200
    finally:
        process.terminate()
        process.wait(20)
        if process.stdout is not None:
            process.stdout.close()
