"""Whom an OpenID provider sends: by which role, and by what name here."""

import pytest

from drumkeep.domain.checks import CODE_LENGTH, Checks
from drumkeep.domain.company_sign_in import (
    Admission,
    Identity,
    account_name,
    display_name,
    is_from,
    role_at,
)
from drumkeep.domain.roles import Role


def identity(**more):
    usual = {"email": None, "username": "", "display_name": "", "roles": ()}
    return Identity(**({"issuer": "https://id.example", "subject": "s"} | usual | more))


@pytest.mark.parametrize(
    ("who", "name"),
    [
        (identity(username="Sam.Ortiz"), "sam-ortiz"),
        (identity(username="sam@pine.example", email="other@pine.example"), "sam"),
        (identity(email="José.Núñez@pine.example"), "jose-nunez"),
        (identity(username="  --  "), "somebody"),
        (identity(username="李"), "somebody"),
        (identity(), "somebody"),
        (identity(username="x" * 300), "x" * (CODE_LENGTH - 4)),
    ],
)
def test_a_new_account_is_named_so_that_one_can_sign_in_by_it(who, name):
    assert account_name(who) == name
    checks = Checks()
    checks.code("name", f"{account_name(who)}-99")
    assert checks.faults == []


def test_a_new_person_is_called_by_one_line():
    called = display_name(identity(display_name="Sam\n\x00Ortiz" + "z" * 300))
    checks = Checks()
    checks.text("display_name", called)
    assert checks.faults == []
    assert called.startswith("SamOrtiz")
    assert display_name(identity(email="a@pine.example")) == "a@pine.example"


def test_of_several_roles_the_highest_is_given_and_of_none_none():
    admission = Admission(roles={"a": Role.VIEWER, "b": Role.DISPATCHER, "c": Role.CREW})
    assert role_at(identity(roles=("a", "c", "b")), admission=admission) is Role.DISPATCHER
    assert role_at(identity(roles=("x",)), admission=admission) is None
    assert role_at(identity(roles=("a",)), admission=Admission()) is None


def test_without_domains_anybody_is_of_them():
    assert is_from(identity(), domains=frozenset())
    assert not is_from(identity(), domains=frozenset({"pine.example"}))
