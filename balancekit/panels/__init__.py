"""Widgets for the notebooks: thin views of one bench."""

import gc

from balancekit.panels.balance import balance_panel
from balancekit.panels.bring_in import bring_in_panel
from balancekit.panels.entry import grid_panel, one_key_panel
from balancekit.panels.flags import flags_panel
from balancekit.panels.friction import friction_panel
from balancekit.panels.friction_account import friction_account_panel
from balancekit.panels.groups import groups_panel
from balancekit.panels.guided import guided_panel
from balancekit.panels.hammers.hammer_blow import hammer_blow_panel
from balancekit.panels.hammers.hammer_ceiling import hammer_ceiling_panel
from balancekit.panels.hammers.hammer_decided import hammer_decided_panel
from balancekit.panels.hammers.hammer_inertia import hammer_inertia_panel
from balancekit.panels.hammers.hammer_map import ratio_map_panel
from balancekit.panels.hammers.hammer_sets import hammer_sets_panel
from balancekit.panels.hammers.hammer_target import hammer_target_panel
from balancekit.panels.instruments import instrument_panel
from balancekit.panels.leads.lead_layout import lead_layout_panel
from balancekit.panels.leads.lead_lines import lead_lines_panel
from balancekit.panels.leads.lead_record import lead_record_panel
from balancekit.panels.leads.lead_sheet import lead_sheet_panel
from balancekit.panels.leads.lead_sticks import lead_sticks_panel
from balancekit.panels.leads.lead_target import lead_target_panel
from balancekit.panels.leads.spring_check import spring_check_panel
from balancekit.panels.leads.spring_design import spring_design_panel
from balancekit.panels.leads.spring_relief import spring_relief_panel
from balancekit.panels.leads.spring_trade_off import spring_trade_off_panel
from balancekit.panels.notes import note_panel
from balancekit.panels.plan.plan_costs import plan_costs_panel
from balancekit.panels.plan.plan_order import plan_order_panel
from balancekit.panels.plan.plan_views import plan_front_panel, plan_why_panel
from balancekit.panels.plan.plan_wishes import plan_owner_panel
from balancekit.panels.ratio_checks import ratio_checks_panel
from balancekit.panels.reference_keys import reference_keys_panel
from balancekit.panels.scale import hand_panel, scale_panel
from balancekit.panels.settings import settings_panel
from balancekit.panels.share import write_sheets_panel
from balancekit.panels.share_file import share_panel
from balancekit.panels.weigh_next import weigh_next_panel
from balancekit.panels.work.after_groups import groups_after_panel
from balancekit.panels.work.after_proof import bands_panel, compare_panel, proof_panel
from balancekit.panels.work.after_years import then_and_now_panel, years_panel
from balancekit.panels.work.bench_sheets import bench_sheets_panel
from balancekit.panels.work.visits import visit_panel
from balancekit.panels.work.work_expected import expected_evenness_panel, expected_panel
from balancekit.panels.work.work_key import work_key_panel

# What was imported stays. Not to look it through for litter again spares a slider, now and then,
# a wait of 0.1 s.
gc.freeze()

__all__ = [name for name in dir() if name.endswith("_panel")]
