"""Roles: Django groups, each a bundle of duties. `actions.ensure_roles` makes the groups from this table."""

from fleet.core.permissions import May
from fleet.core.words import Worded


class Role(Worded):
    """A bundle of duties, kept as a Django group of the same name."""

    WARD = "ward", "Ward staff"
    TECHNICIAN = "technician", "Biomedical technician"
    STOREKEEPER = "storekeeper", "Storekeeper"
    MANAGER = "manager", "Manager"
    ADMINISTRATOR = "administrator", "Administrator"


_BENCH = frozenset(
    {
        May.REPORT_FAULT,
        May.SEE_FLEET,
        May.WORK_ON_BENCH,
        May.LOG_RUNTIME_TEST,
        May.UPDATE_LIBRARY,
        May.CLEAR_ALERT,
        May.HAND_OVER,
        May.SEE_REPORTS,
        May.SEE_TRAIL,
    }
)

ROLE_DUTIES: dict[Role, frozenset[May]] = {
    Role.WARD: frozenset({May.REPORT_FAULT}),
    Role.TECHNICIAN: _BENCH,
    Role.STOREKEEPER: frozenset({May.REPORT_FAULT, May.SEE_FLEET, May.KEEP_STORE, May.IMPORT_RECORDS, May.HAND_OVER}),
    Role.MANAGER: _BENCH
    | {
        May.DEFER_DUE,
        May.LIFT_QUARANTINE,
        May.RETIRE_DEVICE,
        May.IMPORT_RECORDS,
        May.EDIT_REGISTRY,
        May.KEEP_NOTICES,
        May.KEEP_STORE,
        May.SET_RISK_LIMITS,
        May.SEE_PERSON_FIGURES,
        May.KEEP_TEAM,
    },
    Role.ADMINISTRATOR: frozenset(May),
}
