"""Mail against a real server with TLS and login: arrives whole and once, waits when the server fails, survives kills."""

from __future__ import annotations

import email
import ipaddress
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from email.policy import default
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, Envelope, LoginPassword
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from pipelines import mail
from pipelines.base.errors import UsageError
from pipelines.base.home import Home
from pipelines.mail import outbox, server
from pipelines.mail.server import Account
from pipelines.plant.blocks import Mail

NOW = datetime(2026, 4, 6, 12, tzinfo=UTC)
ROOT = Path(__file__).resolve().parents[2]
TRAIL: dict[str, Any] = {
    "plant": "p", "name": "Anlæg Æ", "language": "da", "iso_week": "2026-W14", "revision": 0, "fingerprint": "f", "known_utc": "2026-04-06T11:05:00+00:00",
    "withheld": None, "sentences": ["Presse 1 kørte 40,0 timer.", "Polymer var 10,5 ± 0,9 kg.", "Intet kræver en beslutning."], "data": "Alt kendt.",
}  # fmt: skip


class Inbox:
    """What the server took, and how it is to fail."""

    def __init__(self) -> None:
        self.taken: list[EmailMessage] = []
        self.recipients: list[list[str]] = []
        self.refuse: set[str] = set()
        self.answer = "250 taken"
        self.hold_s = 0.0

    async def handle_RCPT(self, _server: Any, _session: Any, envelope: Envelope, address: str, _options: list[str]) -> str:  # noqa: N802
        if address in self.refuse:
            return "550 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 ok"

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Envelope) -> str:  # noqa: N802
        import asyncio

        if self.answer.startswith("250"):
            made = email.message_from_bytes(envelope.original_content or b"", policy=default)
            assert isinstance(made, EmailMessage)
            self.taken.append(made)
            self.recipients.append(list(envelope.rcpt_tos))
        await asyncio.sleep(self.hold_s)
        return self.answer

    @property
    def ids(self) -> set[str]:
        return {str(m["Message-ID"]) for m in self.taken}


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A certificate of its own for 127.0.0.1, and its key."""
    folder = tmp_path_factory.mktemp("tls")
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "test")])
    begin = datetime(2020, 1, 1, tzinfo=UTC)
    made = (
        x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key()).serial_number(1)
        .not_valid_before(begin).not_valid_after(begin + timedelta(days=36500))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    cert_file, key_file = folder / "cert.pem", folder / "key.pem"
    cert_file.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    plain = serialization.NoEncryption()
    key_file.write_bytes(key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain))
    return cert_file, key_file


def login(_server: Any, _session: Any, _envelope: Any, _mechanism: str, given: Any) -> AuthResult:
    right = isinstance(given, LoginPassword) and (given.login, given.password) == (b"flocledger", b"secret")
    return AuthResult(success=right, handled=False)


@pytest.fixture
def inbox(certificate: tuple[Path, Path]) -> Iterator[tuple[Inbox, Account]]:
    import ssl

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(*certificate)
    box = Inbox()
    made = Controller(
        box,
        hostname="127.0.0.1",
        port=0,
        tls_context=context,
        require_starttls=True,
        authenticator=login,
        auth_required=True,
        auth_require_tls=True,
    )
    made.port = free_port()
    made.start()
    yield box, Account("127.0.0.1", made.port, "flocledger", "secret", str(certificate[0]))
    made.stop()


def free_port() -> int:
    import socket

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Home:
    """A home with one page; the plant's list has two addresses."""
    made = Home(tmp_path / "home")
    write_page(made)
    block = Mail(to=("a@plant.test", "b@plant.test"), sender="pages@tool.test")
    monkeypatch.setattr("pipelines.mail.loader.of_plant", lambda _home, _plant: type("PlantFile", (), {"mail": block}))
    return made


def write_page(home: Home, stem: str = "p_2026-W14", **given: Any) -> Path:
    pdf = home.reports("p") / f"{stem}.pdf"
    pdf.parent.mkdir(parents=True, exist_ok=True)
    pdf.write_bytes(b"%PDF-1.7 " + bytes(range(256)) * 40)
    pdf.with_suffix(".json").write_text(json.dumps(TRAIL | given), encoding="utf-8")
    return pdf


def use(monkeypatch: pytest.MonkeyPatch, account: Account) -> None:
    names = {
        server.HOST: account.host,
        server.PORT: str(account.port),
        server.USER: account.user,
        server.PASSWORD: account.password,
        server.CA_FILE: account.ca_file,
    }
    for name, value in names.items():
        monkeypatch.setenv(name, value or "")


def page(home: Home) -> Path:
    return home.reports("p") / "p_2026-W14.pdf"


def test_a_page_arrives_whole_and_once(home: Home, inbox: tuple[Inbox, Account], monkeypatch: pytest.MonkeyPatch) -> None:
    box, account = inbox
    use(monkeypatch, account)
    for _ in range(3):
        assert mail.run(home, "p", page(home), as_of=NOW) == []
    assert len(box.taken) == 1
    assert box.recipients == [["a@plant.test", "b@plant.test"]]
    got = box.taken[0]
    assert got["Subject"] == "Anlæg Æ: uge 2026-W14, revision 0"
    body = got.get_body(("plain",))
    assert body is not None
    for said in (*TRAIL["sentences"], "Siden er vedlagt som PDF."):
        assert said in body.get_content()
    (attached,) = got.iter_attachments()
    assert (attached.get_filename(), attached.get_content_type()) == ("p_2026-W14.pdf", "application/pdf")
    assert attached.get_content() == page(home).read_bytes()
    assert list(home.outbox("p").glob("*.eml")) == []


def test_a_withheld_page_says_why(home: Home, inbox: tuple[Inbox, Account], monkeypatch: pytest.MonkeyPatch) -> None:
    box, account = inbox
    use(monkeypatch, account)
    write_page(home, withheld="Ugens tal rapporteres ikke: intet.", sentences=[])
    mail.run(home, "p", page(home), as_of=NOW)
    body = box.taken[0].get_body(("plain",))
    assert body is not None
    assert body.get_content().startswith("Ugens tal rapporteres ikke: intet.")


def test_a_revision_goes_to_those_who_had_the_page(home: Home, inbox: tuple[Inbox, Account], monkeypatch: pytest.MonkeyPatch) -> None:
    box, account = inbox
    use(monkeypatch, account)
    write_page(home, "p_2026-W10", iso_week="2026-W10", revision=3)  # never mailed: its revisions are not either
    mail.run(home, "p", page(home), as_of=NOW)
    write_page(home, revision=1)
    newest = write_page(home, "p_2026-W15", iso_week="2026-W15")
    mail.run(home, "p", newest, as_of=NOW)
    assert [str(m["Subject"]).split(": ")[1] for m in box.taken] == [
        "uge 2026-W14, revision 0",
        "uge 2026-W14, revision 1",
        "uge 2026-W15, revision 0",
    ]
    assert len(box.ids) == 3


def test_a_failing_server_loses_nothing_and_is_not_pestered(
    home: Home, inbox: tuple[Inbox, Account], monkeypatch: pytest.MonkeyPatch
) -> None:
    box, account = inbox
    use(monkeypatch, account)
    box.answer = "451 try later"
    (notice,) = mail.run(home, "p", page(home), as_of=NOW)
    assert "451" in notice.sentence
    box.answer = "250 taken"
    assert len(mail.run(home, "p", page(home), as_of=NOW + timedelta(minutes=4))) == 1  # five minutes have not passed
    assert box.taken == []
    assert mail.run(home, "p", page(home), as_of=NOW + timedelta(minutes=5)) == []
    assert len(box.taken) == 1


def test_waits_grow_to_half_a_day(home: Home, inbox: tuple[Inbox, Account]) -> None:
    account = replace(inbox[1], port=free_port())  # nobody there
    box = outbox.Outbox(home.outbox("p"))
    message = EmailMessage()
    message["From"] = "pages@tool.test"
    box.queue("x", message, ["a@plant.test"])
    now, waits = NOW, []
    for _ in range(9):
        outbox.send_all(box, account, now)
        then = datetime.fromisoformat(box.state("x")["not_before"])
        waits.append((then - now).total_seconds() / 60)
        now = then
    assert waits == [5, 10, 20, 40, 80, 160, 320, 640, 720]


def test_only_refused_recipients_are_tried_again(home: Home, inbox: tuple[Inbox, Account], monkeypatch: pytest.MonkeyPatch) -> None:
    box, account = inbox
    use(monkeypatch, account)
    box.refuse = {"b@plant.test"}
    (notice,) = mail.run(home, "p", page(home), as_of=NOW)
    assert "550 no such mailbox" in notice.sentence
    box.refuse = set()
    assert mail.run(home, "p", page(home), as_of=NOW + timedelta(days=1)) == []
    assert box.recipients == [["a@plant.test"], ["b@plant.test"]]
    assert len(box.ids) == 1


@pytest.mark.parametrize("change", [{"password": "wrong"}, {"ca_file": None}, {"user": None}])
def test_nothing_goes_out_without_right_login_and_trusted_encryption(
    change: dict[str, Any], home: Home, inbox: tuple[Inbox, Account], monkeypatch: pytest.MonkeyPatch
) -> None:
    box, account = inbox
    use(monkeypatch, replace(account, **change))
    assert len(mail.run(home, "p", page(home), as_of=NOW)) == 1
    assert box.taken == []
    use(monkeypatch, account)
    assert mail.run(home, "p", page(home), as_of=NOW + timedelta(hours=1)) == []
    assert len(box.taken) == 1


def test_without_a_server_the_mail_waits(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(server.HOST, raising=False)
    (notice,) = mail.run(home, "p", page(home), as_of=NOW)
    assert "FLOCLEDGER_SMTP_HOST is not set" in notice.sentence
    assert outbox.Outbox(home.outbox("p")).waiting() == ["p_2026-W14_r0"]


def test_the_password_is_in_no_text(inbox: tuple[Inbox, Account], home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    use(monkeypatch, replace(inbox[1], password="very-secret-word"))
    (notice,) = mail.run(home, "p", page(home), as_of=NOW)
    kept = "".join(p.read_text(encoding="utf-8", errors="replace") for p in home.outbox("p").iterdir())
    assert "very-secret-word" not in kept + notice.sentence + repr(inbox[1])
    with pytest.raises(UsageError):
        server.of_environment({server.HOST: "x", server.PORT: "mail"})


@pytest.mark.parametrize("wrong", ["nobody", "a@b\nBcc: c@d", "a@b, c@d", "<a@b>"])
def test_addresses_carry_no_headers(wrong: str) -> None:
    with pytest.raises(ValueError, match="is no mail address"):
        Mail(to=(wrong,), sender="a@b")


SENDER = """
import sys
from datetime import datetime
from pathlib import Path
from pipelines.mail import outbox, server
outbox.send_all(outbox.Outbox(Path(sys.argv[1])), server.of_environment(), datetime.fromisoformat(sys.argv[2]))
"""


def sending(folder: Path, account: Account) -> subprocess.Popen[bytes]:
    names = {
        server.HOST: account.host,
        server.PORT: str(account.port),
        server.USER: account.user,
        server.PASSWORD: account.password,
        server.CA_FILE: account.ca_file,
    }
    return subprocess.Popen(
        [sys.executable, "-c", SENDER, str(folder), NOW.isoformat()], cwd=ROOT, env=os.environ | {k: v or "" for k, v in names.items()}
    )


@pytest.mark.parametrize("after_the_server_took_it", [False, True])
def test_killed_in_the_middle_nothing_is_lost_and_nothing_is_two(
    after_the_server_took_it: bool, home: Home, inbox: tuple[Inbox, Account], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed before the server has the message, or after it has it and before it says so: then the second has the same Message-ID."""
    box, account = inbox
    monkeypatch.delenv(server.HOST, raising=False)
    mail.run(home, "p", page(home), as_of=NOW)  # queued only
    box.hold_s = 30.0
    if not after_the_server_took_it:
        box.answer = "451 held"
    process = sending(home.outbox("p"), account)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and not (box.taken if after_the_server_took_it else (home.outbox("p") / ".lock").exists()):
        time.sleep(0.05)
    process.send_signal(signal.SIGKILL)
    process.wait()
    box.hold_s, box.answer = 0.0, "250 taken"
    use(monkeypatch, account)
    assert mail.run(home, "p", page(home), as_of=NOW + timedelta(days=1)) == []
    assert len(box.ids) == 1
    assert outbox.Outbox(home.outbox("p")).waiting() == []
    assert mail.run(home, "p", page(home), as_of=NOW + timedelta(days=2)) == []
    assert len(box.taken) <= 2


def test_killed_while_queueing_leaves_no_half_message(home: Home) -> None:
    box = outbox.Outbox(home.outbox("p"))
    box.folder.mkdir(parents=True)
    (box.folder / "x.eml").write_bytes(b"half")  # the text without its state: it was not queued
    assert not box.knows("x")
    assert box.waiting() == []


def test_an_alert_of_a_failed_run_arrives_by_mail(inbox: tuple[Inbox, Account]) -> None:
    from pipelines.flows import alerts

    box, account = inbox
    env = {
        server.HOST: account.host, server.PORT: str(account.port), server.USER: account.user or "", server.PASSWORD: account.password or "",
        server.CA_FILE: account.ca_file or "", alerts.TO: "a@example.org, b@example.org", alerts.SENDER: "ledger@example.org",
    }  # fmt: skip
    assert alerts.send({"plant": "brenholm", "flow": "nightly", "state": "DataMissing", "message": "no data"}, env) == ["mail"]
    assert [str(m["Subject"]) for m in box.taken] == ["flocledger: brenholm: DataMissing"]
    assert box.recipients == [["a@example.org", "b@example.org"]]
