"""What a command changes is on record as the deed of whoever called it."""

import getpass
import io

from sqlmodel import col, select

from drumkeep.cli.main import main
from drumkeep.storage.audit_trail import DOER
from drumkeep.storage.engine import create
from drumkeep.storage.tables.audit import AuditEntry
from drumkeep.storage.transaction import reading


def test_a_command_is_on_record_as_the_deed_of_who_called_it(tmp_path, monkeypatch):
    password = "seven green ladders"
    for action in ("create", "password"):
        monkeypatch.setattr("sys.stdin", io.StringIO(f"{password}\n"))
        arguments = ["account", action, "ana", "--data-dir", str(tmp_path), "--password-stdin"]
        assert main(arguments) == 0

    engine = create(f"sqlite:///{tmp_path}/drumkeep.db")
    with reading(engine) as tx:
        rows = tx.session.exec(select(AuditEntry).order_by(col(AuditEntry.id))).all()
    engine.dispose()
    assert [(row.did, row.kind, row.object) for row in rows] == [
        ("made", "account", "ana"),
        ("set a password", "account", "ana"),
    ]
    for row in rows:
        assert row.actor == getpass.getuser()
        assert (row.way, row.device, row.address) == ("command", "drumkeep account", "")
        assert password not in row.changes
    assert DOER.get() is None
