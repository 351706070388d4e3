"""What a person may do, as one list. The people room turns each into a Django permission."""

from enum import StrEnum


class May(StrEnum):
    """A duty that can be granted. The value is the codename of the Django permission."""

    REPORT_FAULT = "may_report_fault"
    SEE_FLEET = "may_see_fleet"
    WORK_ON_BENCH = "may_work_on_bench"
    LOG_RUNTIME_TEST = "may_log_runtime_test"
    UPDATE_LIBRARY = "may_update_library"
    CLEAR_ALERT = "may_clear_alert"
    DEFER_DUE = "may_defer_due"
    LIFT_QUARANTINE = "may_lift_quarantine"
    RETIRE_DEVICE = "may_retire_device"
    HAND_OVER = "may_hand_over_drivers"
    SEE_REPORTS = "may_see_reports"
    KEEP_STORE = "may_keep_store"
    SET_RISK_LIMITS = "may_set_risk_limits"
    IMPORT_RECORDS = "may_import_records"
    EDIT_REGISTRY = "may_edit_registry"
    MANAGE_PEOPLE = "may_manage_people"
    KEEP_NOTICES = "may_keep_safety_notices"
    SEE_TRAIL = "may_see_trail"
    SEE_PERSON_FIGURES = "may_see_person_figures"
    KEEP_TEAM = "may_keep_team_records"

    @property
    def label(self) -> str:
        """The duty in words, for pages that list a person's duties."""
        return self.value.replace("_", " ").replace("may ", "May ", 1)
