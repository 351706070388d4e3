"""The page of one driver."""

from tests.bench.builders import signed_in
from tests.builders import a_device


def test_x(technician):
    device = a_device()
    r = signed_in(technician).get(f"/devices/{device}/")
    assert r.status_code == 200
    pass
