import time, pytest
from tests.batteries.builders import a_fitted_device, a_forecast
from tests.rounds.builders import a_due_driver, a_round
from tests.builders import a_ward
from fleet.rounds import queries
from django.db import connection
from django.test.utils import CaptureQueriesContext
pytestmark = pytest.mark.django_db
def test_t():
    for _ in range(100): a_due_driver(); a_forecast(a_fitted_device(), advice="replace")
    v = a_round()
    with CaptureQueriesContext(connection) as h:
        t = time.perf_counter(); p = queries.round_page(v); print("MS", 1000*(time.perf_counter()-t), len(h), len(p.left))
