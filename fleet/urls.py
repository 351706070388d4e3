"""Every address Benchward answers."""

from django.urls import URLPattern, URLResolver, include, path

from fleet.people.views import signing
from fleet.web import views

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", views.health, name="health"),
    path("sign-in/", signing.sign_in, name="sign-in"),
    path("sign-in/code/", signing.code, name="sign-in-code"),
    path("sign-in/recovery/", signing.recovery, name="sign-in-recovery"),
    path("sign-in/factor/", signing.factor, name="sign-in-factor"),
    path("sign-out/", signing.sign_out, name="sign-out"),
    path("signed-out/", signing.signed_out, name="signed-out"),
    path("", include("fleet.people.urls")),
    path("", include("fleet.reports.urls")),
    path("", include("fleet.tags.urls")),
    path("bench/", include("fleet.bench.urls")),
    path("accessories/", include("fleet.accessories.urls")),
    path("loans/", include("fleet.loans.urls")),
    path("deliveries/", include("fleet.deliveries.urls")),
    path("registry/", include("fleet.registry.urls")),
    path("jobs/", include("fleet.jobs.urls")),
    path("schedules/", include("fleet.schedules.urls")),
    path("", include("fleet.stores.urls")),
    path("staff/", include("fleet.staff.urls")),
    path("notices/", include("fleet.notices.urls")),
    path("rounds/", include("fleet.rounds.urls")),
    path("batteries/", include("fleet.batteries.urls")),
    path("alerts/", include("fleet.alerts.urls")),
    path("libraries/", include("fleet.libraries.urls")),
    path("contracts/", include("fleet.contracts.urls")),
    path("documents/", include("fleet.documents.urls")),
    path("exchange/", include("fleet.exchange.urls")),
]
