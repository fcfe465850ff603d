"""What clients send."""

import os

import pytest

STATUS = b'{"jsonrpc":"2.0","method":"status","id":1}'

WATCH = b'{"jsonrpc":"2.0","method":"watch","id":1}'

holds_64 = pytest.mark.skipif(os.geteuid() != 0, reason="only root may hold 64 connections")
