"""The words that everybody shares, as enumerations. A code is written once into the record and never changes;
the sentence that a person reads is made at the edge."""

from enum import StrEnum


class Unit(StrEnum):
    """What an interval is counted in."""

    DAY = "day"
    WEEK = "week"
    MONTH = "month"
    YEAR = "year"


class Basis(StrEnum):
    """What an interval counts from: a fixed anchor, or the day the last inspection was performed."""

    ANCHORED = "anchored"
    FLOATING = "floating"


class PlanBasis(StrEnum):
    """On what ground a plan asks for its interval."""

    MAKER = "maker"
    ALTERNATE = "alternate_programme"
    REGULATION = "regulation"
    LOCAL_POLICY = "local_policy"


class WindowKind(StrEnum):
    DAYS = "days"
    CALENDAR_MONTH = "calendar_month"
    TABLE = "table"


class UsageUnit(StrEnum):
    HOURS = "hours"
    CYCLES = "cycles"


class Role(StrEnum):
    MANAGER = "manager"
    SCHEDULER = "scheduler"
    TECHNICIAN = "technician"
    AUDITOR = "auditor"
    CLINICAL_LEAD = "clinical_lead"
    PROVIDER = "provider"
    ADMINISTRATOR = "administrator"
    SYSTEM = "system"


class AreaKind(StrEnum):
    THEATRE = "theatre"
    WARD = "ward"
    CLINIC = "clinic"
    IMAGING = "imaging"
    LABORATORY = "laboratory"
    STORE = "store"
    WORKSHOP = "workshop"
    OTHER = "other"


class OwnershipKind(StrEnum):
    OWNED = "owned"
    LEASED = "leased"
    RENTED = "rented"
    ON_LOAN = "on_loan"
    ON_TRIAL = "on_trial"
    PATIENTS_OWN = "patients_own"


class ServiceStateKind(StrEnum):
    IN_SERVICE = "in_service"
    STORED = "stored"
    NOT_LOCATED = "not_located"
    LEFT = "left"


class Departure(StrEnum):
    """How a device left the inventory."""

    SOLD = "sold"
    SCRAPPED = "scrapped"
    RETURNED = "returned"
    DECLARED_LOST = "declared_lost"
    SWAPPED = "swapped"
    OTHER = "other"


class RiskClass(StrEnum):
    LIFE_SUPPORT = "life_support"
    HIGH_RISK = "high_risk"
    OTHER = "other"


class Subsystem(StrEnum):
    STRUCTURE = "structure_and_fasteners"
    DRIVE = "drive"
    HYDRAULICS = "hydraulics"
    POWER = "power_and_battery"
    CONTROLS = "controls"
    BACKUP_CONTROLS = "backup_controls"
    BRAKES = "brakes_and_mobility"
    COVERS = "covers_and_guards"
    ELECTRICAL_SAFETY = "electrical_safety"
    ALARMS = "alarms"
    SOFTWARE = "software"
    ACCESSORIES = "accessories"


class EnergySource(StrEnum):
    MAINS = "mains"
    BATTERY = "battery"
    MANUAL = "manual"


class StepKind(StrEnum):
    """What a line of a procedure asks for."""

    LOOK = "look"
    FUNCTION = "function"
    MEASURE = "measure"
    COUNT = "count"
    DATE_CODE = "date_code"
    ANGLE_PAIR = "angle_pair"
    TRAVEL = "two_way_travel"
    CONFIRM = "confirm"


class Outcome(StrEnum):
    """How a step was answered. Protection that did its work is never a failure."""

    PASSED = "passed"
    FAILED = "failed"
    NOT_APPLICABLE = "not_applicable"
    NOT_TESTED = "not_tested"
    PROTECTION_OPERATED = "protective_function_operated"


class DateCodeState(StrEnum):
    READ = "read"
    UNREADABLE = "unreadable"


class InspectionKind(StrEnum):
    INCOMING = "incoming"
    SCHEDULED = "scheduled"
    AFTER_REPAIR = "after_repair"
    ON_REQUEST = "on_request"


class ReasonCode(StrEnum):
    """Why a due inspection was not done. A reason never improves the headline."""

    WITH_A_PATIENT = "with_a_patient"
    NOT_FOUND = "could_not_be_found"
    NO_ACCESS = "area_gave_no_access"
    WAITING_FOR_PART = "waiting_for_a_part"
    NO_USABLE_CONTROL = "no_usable_control"
    LEFT_AFTER_CLOSE = "departure_recorded_after_close"


class AttemptOutcome(StrEnum):
    WITH_A_PATIENT = "with_a_patient"
    NOT_FOUND = "not_found"
    NO_ACCESS = "no_access"


class WithdrawalReason(StrEnum):
    PLAN_CHANGED = "plan_changed"
    PLAN_ENDED = "plan_ended"
    NOT_COVERED = "device_no_longer_covered"
    RE_ANCHORED = "re_anchored"
    RECORDED_WRONGLY = "recorded_wrongly"


class Discovery(StrEnum):
    """How something wrong came to light. What is found at an inspection happened at some time since the last one."""

    INSPECTION = "found_at_inspection"
    IN_USE = "reported_in_use"
    INCOMING = "found_at_incoming"
    REPAIR = "found_during_repair"
    NOTICE = "safety_notice"


class FailureKind(StrEnum):
    """Functional: it could not do its work. Potential: found before it failed."""

    FUNCTIONAL = "functional"
    POTENTIAL = "potential"
    COSMETIC = "cosmetic"
    NONE = "none"


class Severity(StrEnum):
    COULD_HARM = "could_harm"
    STOPS_USE = "stops_use"
    LIMITS_USE = "limits_use"
    MINOR = "minor"


class Cause(StrEnum):
    WEAR = "wear"
    IMPACT = "impact"
    USE_ERROR = "use_error"
    ACCESSORY = "accessory"
    BATTERY = "battery"
    NETWORK = "network"
    ENVIRONMENT = "environment"
    PREVIOUS_REPAIR = "previous_repair"
    MISSING_MAINTENANCE = "missing_maintenance"
    UNPREVENTABLE = "unpreventable"
    NO_FAULT_FOUND = "no_fault_found"
    NOT_KNOWN = "not_known"


class HoldReason(StrEnum):
    FINDING = "finding"
    INSPECTION_FAILED = "inspection_failed"
    INCOMPLETE_PART_SET = "incomplete_part_set"
    DONOR_OF_PARTS = "donor_of_parts"
    NO_USABLE_CONTROL = "no_usable_control"
    WAITING_FOR_PART = "waiting_for_a_part"
    FOUND_AGAIN = "found_again"
    UNKNOWN_HISTORY = "unknown_history"
    NOTICE = "safety_notice"
    UNINTENDED_MOVEMENT = "unintended_movement"
    FAULT_REPORTED = "fault_reported"
    NOT_DECONTAMINATED = "not_decontaminated"
    OTHER = "other"


class PartNeedState(StrEnum):
    WANTED = "wanted"
    ORDERED = "ordered"
    RECEIVED = "received"
    FITTED = "fitted"
    CANCELLED = "cancelled"


class CalibrationOutcome(StrEnum):
    IN_TOLERANCE = "in_tolerance"
    ADJUSTED = "out_of_tolerance_and_adjusted"
    OUT_OF_TOLERANCE = "out_of_tolerance"


class Half(StrEnum):
    AM = "AM"
    PM = "PM"


class JobState(StrEnum):
    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    PARKED = "parked"


class TokenDeed(StrEnum):
    """What a read-only token was used for."""

    READ = "read"
    EXPORT = "export"


class AlertKind(StrEnum):
    """What people are told without asking."""

    DUE_UNASSIGNED = "due_soon_and_unassigned"
    OPENED = "window_opened"
    OVERDUE = "overdue"
    HIGH_RISK_OVERDUE = "high_risk_overdue"
    LONG_HOLD = "long_on_hold"
    CALIBRATION = "calibration_runs_out"


class AlertChannel(StrEnum):
    IN_APP = "in_app"
    MAIL = "mail"


class MailState(StrEnum):
    """Sending: a worker has it. A message that could not be sent waits again, and says why."""

    WAITING = "waiting"
    SENDING = "sending"
    SENT = "sent"
    NO_ADDRESS = "no_address"


class DueState(StrEnum):
    """What a due inspection is on a date; derived, never stored."""

    AHEAD = "ahead"
    OPEN = "open"
    OVERDUE = "overdue"
    MET = "met"
    MET_LATE = "met_late"
    NOT_MET = "not_met"
    WITHDRAWN = "withdrawn"
    SUSPENDED = "suspended"
    ENDED = "ended"


class Counted(StrEnum):
    """What a due inspection counts as in a figure. The first four are due; the others stand apart."""

    MET = "met"
    MET_LATE = "met_late"
    REASON_RECORDED = "reason_recorded"
    NO_REASON = "no_reason"
    OPEN = "open"
    AHEAD = "ahead"
    SUSPENDED = "suspended"
    ENDED = "ended"
    WITHDRAWN = "withdrawn"


class Grouping(StrEnum):
    """By what a compliance figure can be split."""

    MONTH = "month"
    SITE = "site"
    AREA = "area"
    RISK_CLASS = "risk_class"
    DEVICE_CLASS = "device_class"
    BASIS = "basis"


class RateGrouping(StrEnum):
    """By what failure rates can be split."""

    SUBSYSTEM = "subsystem"
    MODEL = "model"
    REVISION = "revision"
    SITE = "site"
    AREA = "area"


class FailureEvidence(StrEnum):
    """Which failures count: all of them, or those that say something of the interval between inspections."""

    ALL = "all"
    FOR_INTERVALS = "usable_for_intervals"


class StandoutFamily(StrEnum):
    """Which groups a screening sets against one another."""

    REVISION = "revision"
    SITE = "site"
    MODEL = "model"
