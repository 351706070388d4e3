"""The only writers of persons, roles, absences, second factors and what a sign-in asks for."""

from fleet.people.actions.factor import (
    Taken,
    begin_factor,
    remove_factor,
    renew_codes,
    set_sign_in_rule,
    take_code,
    turn_off_factor,
    turn_on_factor,
)
from fleet.people.actions.persons import (
    NewPerson,
    PersonFacts,
    add_person,
    edit_own,
    edit_person,
    ensure_roles,
    note_absence,
    set_password,
    set_places,
    set_role,
    update_person,
    withdraw_absence,
)

__all__ = [
    "NewPerson",
    "PersonFacts",
    "Taken",
    "add_person",
    "begin_factor",
    "edit_own",
    "edit_person",
    "ensure_roles",
    "note_absence",
    "remove_factor",
    "renew_codes",
    "set_password",
    "set_places",
    "set_role",
    "set_sign_in_rule",
    "take_code",
    "turn_off_factor",
    "turn_on_factor",
    "update_person",
    "withdraw_absence",
]
