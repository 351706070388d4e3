"""Addresses of the people room: /account/ for oneself, /people/ for everybody."""

from django.urls import path

from fleet.people.views import access, account, away, everybody, factor, rule

app_name = "people"
urlpatterns = [
    path("account/", account.account, name="account"),
    path("account/password/", account.password, name="password"),
    path("account/factor/", factor.factor, name="factor"),
    path("account/factor/begin/", factor.begin, name="factor_begin"),
    path("account/factor/off/", factor.off, name="factor_off"),
    path("account/factor/codes/", factor.codes, name="factor_codes"),
    path("account/away/", away.away, name="away"),
    path("account/away/<int:pk>/withdraw/", away.withdraw, name="withdraw_absence"),
    path("people/", everybody.everybody, name="list"),
    path("people/new/", everybody.new, name="new"),
    path("people/access/", access.access, name="access"),
    path("people/access.csv", access.access_csv, name="access_csv"),
    path("people/sign-in/", rule.sign_in_rule, name="sign_in_rule"),
    path("people/<int:pk>/", everybody.person, name="person"),
    path("people/<int:pk>/password/", everybody.person_password, name="person_password"),
    path("people/<int:pk>/factor/", everybody.person_factor, name="person_factor"),
]
