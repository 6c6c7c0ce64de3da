"""What may be transmitted where: data files with their sources, and the look-up."""

from linkwright.rules.acceptance import acceptable, check_accepts
from linkwright.rules.corrections import Correction
from linkwright.rules.hazards import HardWarning, hard_warnings
from linkwright.rules.library import known_best, known_codes, territory, territory_or_group, use_corrections
from linkwright.rules.lookup import Allowance, allowance, check_ids, check_permits, closed_ranges, closures
from linkwright.rules.models import Closed, Kind, Permit, Row, Territory
from linkwright.rules.opening import opened_by, openings
from linkwright.rules.power import eirp_mw_from_erp_mw, most_conducted_mw
from linkwright.rules.report import RulesReport
from linkwright.rules.separation import Outside, Separation, closed_by_tv, keeps_separation, separations
from linkwright.rules.stale import age_days, stale_document, stale_rows
from linkwright.rules.terms import NO_TERMS, Terms, licence_text, licences_for, misfit, on_licence, place_of
from linkwright.rules.tv import TvChannel, tv_channel, tv_channels
from linkwright.rules.why import range_text, why_not

__all__ = [
    "NO_TERMS",
    "Allowance",
    "Closed",
    "Correction",
    "HardWarning",
    "Kind",
    "Outside",
    "Permit",
    "Row",
    "RulesReport",
    "Separation",
    "Terms",
    "Territory",
    "TvChannel",
    "acceptable",
    "age_days",
    "allowance",
    "check_accepts",
    "check_ids",
    "check_permits",
    "closed_by_tv",
    "closed_ranges",
    "closures",
    "eirp_mw_from_erp_mw",
    "hard_warnings",
    "keeps_separation",
    "known_best",
    "known_codes",
    "licence_text",
    "licences_for",
    "misfit",
    "most_conducted_mw",
    "on_licence",
    "opened_by",
    "openings",
    "place_of",
    "range_text",
    "separations",
    "stale_document",
    "stale_rows",
    "territory",
    "territory_or_group",
    "tv_channel",
    "tv_channels",
    "use_corrections",
    "why_not",
]
