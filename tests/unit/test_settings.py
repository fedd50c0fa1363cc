"""Settings: defaults, the environment, and what is said when one cannot be used."""

import os
import stat

import pytest

from drumkeep.app import make_admission, make_provider
from drumkeep.errors import Invalid, Unavailable
from drumkeep.settings import Settings, load


@pytest.fixture(autouse=True)
def bare_environment(monkeypatch):
    for name in list(os.environ):
        if name.startswith("DRUMKEEP_"):
            monkeypatch.delenv(name)


def test_everything_has_a_default():
    settings = load()

    assert settings.port == 8055
    assert settings.host == "127.0.0.1"
    assert settings.database == f"sqlite:///{settings.data_dir}/drumkeep.db"
    assert settings.mqtt_root == "drumkeep/v1"


def test_arguments_come_before_the_environment(monkeypatch):
    monkeypatch.setenv("DRUMKEEP_PORT", "9001")
    monkeypatch.setenv("DRUMKEEP_HOST", "::1")

    settings = load(port="9002", host=None)

    assert (settings.port, settings.host) == (9002, "::1")


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("DRUMKEEP_PORT", "eighty"),
        ("DRUMKEEP_PORT", "70000"),
        ("DRUMKEEP_SECRET_KEY", "short"),
        ("DRUMKEEP_MQTT_ROOT", "a/#"),
        ("DRUMKEEP_PUBLIC_URL", "drums.example"),
        ("DRUMKEEP_TRUSTED_PROXIES", "10.0.0.0/8,everybody"),
        ("DRUMKEEP_OIDC_ISSUER", "http://id.example"),
        ("DRUMKEEP_OIDC_UNKNOWN", "manager"),
    ],
)
def test_what_cannot_be_used_is_named_and_secrets_are_not_repeated(monkeypatch, name, value):
    monkeypatch.setenv(name, value)

    with pytest.raises(Invalid) as refused:
        load()

    (fault,) = refused.value.faults
    assert fault.field == name
    assert (fault.value is None) == (name == "DRUMKEEP_SECRET_KEY")


def test_a_misspelt_variable_is_warned_of(monkeypatch, caplog):
    monkeypatch.setenv("DRUMKEEP_PROT", "8000")

    load()

    assert "DRUMKEEP_PROT is no setting" in caplog.text


def test_the_secret_is_made_once_and_for_us_alone(tmp_path):
    settings = Settings(data_dir=tmp_path / "data")
    settings.prepare()

    secret = settings.secret()

    assert len(secret) >= 43  # 32 random bytes in base64
    assert settings.secret() == secret
    (kept,) = (tmp_path / "data").iterdir()
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert stat.S_IMODE(kept.parent.stat().st_mode) == 0o700


def test_a_folder_that_cannot_be_made_is_said(tmp_path):
    (tmp_path / "file").write_text("in the way")

    with pytest.raises(Unavailable, match="DRUMKEEP_DATA_DIR"):
        Settings(data_dir=tmp_path / "file" / "data").prepare()


def test_cookies_are_kept_off_plain_http_where_people_come_by_https():
    assert Settings(public_url="https://drums.example").people_come_by_https
    assert not Settings(public_url="http://drums.example").people_come_by_https
    assert not Settings().people_come_by_https


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ({"ISSUER": "https://id.example"}, "DRUMKEEP_OIDC_CLIENT_ID"),
        ({"ISSUER": "https://id.example", "CLIENT_ID": "x"}, "DRUMKEEP_PUBLIC_URL"),
        ({"ROLES": "leads=boss", "ROLE_CLAIM": "groups"}, "DRUMKEEP_OIDC_ROLES"),
        ({"ROLES": "=crew", "ROLE_CLAIM": "groups"}, "DRUMKEEP_OIDC_ROLES"),
        ({"ROLES": "leads=manager"}, "DRUMKEEP_OIDC_ROLE_CLAIM"),
    ],
)
def test_what_a_company_sign_in_lacks_is_named(monkeypatch, given, name):
    for key, value in given.items():
        monkeypatch.setenv(f"DRUMKEEP_OIDC_{key}", value)
    settings = load()

    with pytest.raises(Invalid) as refused:  # noqa: PT012
        make_provider(settings)
        make_admission(settings)

    (fault,) = refused.value.faults
    assert fault.field == name
