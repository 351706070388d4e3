"""Addresses of the people room: /account/ for oneself, /people/ for everybody."""

from django.urls import path

from fleet.people.views import access, account, away, everybody

app_name = "people"
urlpatterns = [
    path("account/", account.account, name="account"),
    path("account/password/", account.password, name="password"),
    path("account/away/", away.away, name="away"),
    path("account/away/<int:pk>/withdraw/", away.withdraw, name="withdraw_absence"),
    path("people/", everybody.everybody, name="list"),
    path("people/new/", everybody.new, name="new"),
    path("people/access/", access.access, name="access"),
    path("people/access.csv", access.access_csv, name="access_csv"),
    path("people/<int:pk>/", everybody.person, name="person"),
    path("people/<int:pk>/password/", everybody.person_password, name="person_password"),
]
