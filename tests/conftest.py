"""The same few people in all tests: keeper, helper, customer, stranger."""

import pytest
from django.conf import settings
from django.contrib.auth.models import Group, User
from django.test import Client

from breeder.house.roles import HELPER, KEEPER

PASSWORD = "a long tub of springtails"


def pytest_configure() -> None:
    """Hash quickly: what is tested here is never the strength of a hash. Once, since each change costs every test."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


def user_in(role: str, name: str) -> User:
    user = User.objects.create_user(name, password=PASSWORD)
    user.groups.add(Group.objects.get_or_create(name=role)[0])
    return user


@pytest.fixture
def keeper(db: None) -> User:
    return user_in(KEEPER, "keeper")


@pytest.fixture
def helper(db: None) -> User:
    return user_in(HELPER, "helper")


@pytest.fixture
def keeper_client(keeper: User) -> Client:
    client = Client()
    client.force_login(keeper)
    return client


@pytest.fixture
def helper_client(helper: User) -> Client:
    client = Client()
    client.force_login(helper)
    return client
