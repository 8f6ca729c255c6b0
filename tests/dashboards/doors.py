"""Fixtures: a yard whose roles have passwords, and visitors from elsewhere, signed in or not."""

import re

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from dashboards import auth, secret_file
from dashboards.app import create_app
from dashboards.roles import Role

OUTSIDE = ("192.0.2.7", 4711)  # an address kept for documentation, RFC 5737
PASSWORDS = {Role.MANAGE: "twelve dry boards", Role.RECORD: "seven wet boards", Role.LOOK: "one look only"}


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Passwords hashed without effort: nothing here is about how long a try takes."""
    monkeypatch.setattr(secret_file, "HASHER", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))


@pytest.fixture
def secrets(tmp_path):
    made = auth.Secrets(tmp_path / auth.SECRETS_NAME)
    for role, password in PASSWORDS.items():
        made.set_password(password, role)
    return made


@pytest.fixture
def now(yard):
    return [yard.now_ms]


@pytest.fixture
def app(yard, secrets, now):
    return create_app(yard.store, yard.settings, secrets.path, lambda: now[0])


@pytest.fixture
def visit(app):
    def make(role=Role.NOBODY, base="http://localhost:8321", client=OUTSIDE):
        made = TestClient(app, client=client, base_url=base, follow_redirects=False)
        if role is not Role.NOBODY:
            assert sign_in(made, PASSWORDS[role]).status_code == 303
        return made

    return make


def token(page):
    return re.search(r'name="csrf" value="(\w+)"', page.text).group(1)


def sign_in(client, password, **more):
    return client.post("/sign-in", data={"password": password, "csrf": token(client.get("/sign-in")), **more})


def weigh_ins(client):
    return client.get("/api/board/A1").json()["weigh_ins"]
