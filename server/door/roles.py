"""
Who may do what: the one place where that is decided.

Every route has its line here, by the name of its function; one without a line cannot be made (`entrance.DoorRoute`).
What stands under a role is open to those above it too. Whatever a role may do, it may do to its own crew's things
alone: nothing is looked up without the visitor's crew.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from server.book.people import ROLES, Role

if TYPE_CHECKING:
    from server.book.people import Member

Needed = Literal["anybody"] | Role

_OF: dict[Needed, str] = {
    # Nothing that a crew has kept is in what these answer, but for the links that were made for it.
    "anybody": """
        best_move best_day read_light carry_reading depth_of_field match_cameras
        show_about show_licence show_manner choose_manner
        show_reference show_schema show_robots show_manifest show_worker
        show_join look_at_invite join_crew show_pairing pair_browser
        show_shared_sheet print_shared_sheet print_shared_card save_shared_sheet subscribe_to_order show_sheet_schema
    """,
    # Reading. The grad's form keeps nothing.
    "guest": """
        show_home show_phone
        show_venue show_venue_light show_place_light
        show_kit save_kit depth_page
        show_day show_plan show_card show_take show_ways show_bag advise_grad work_out_grad
        show_sheet print_sheet print_card save_sheet save_pocket_file show_pocket
        write_csv write_calendar write_readings show_day_light show_stop_light show_report write_report
        show_changes show_crew make_code end_session leave
    """,
    # The work itself.
    "second": """
        show_start make_start
        new_venue make_venue change_venue make_place change_place log_reading log_photo remove_reading
        new_kit make_kit read_kit start_kit change_kit change_rings change_hands add_thing change_thing remove_thing
        measure take_measure ask_kit_removal remove_kit
        show_camera change_camera drop_camera
        new_day make_day set_up_day change_day show_order change_order bring_order
        make_link end_link bring_sheet read_sheet
        commit_move nudge nudge_under_sky see_sky shift_order note_clip show_hour undo change_lens edit_rig correct_rig
        meter take_reading take_photo keep_found
    """,
    # Who is in; and what takes along what others have kept, for good.
    "lead": """
        invite end_invite change_role let_go
        show_crew_data export_crew delete_crew forget_name
        ask_day_removal remove_day ask_venue_removal remove_venue
    """,
}
RULES: dict[str, Needed] = {name: needed for needed, names in _OF.items() for name in names.split()}


def may(visitor: Member | None, route: str) -> bool:
    """Whether somebody may use a route; None is a stranger."""
    needed = RULES[route]
    return needed == "anybody" or (visitor is not None and ROLES.index(visitor.role) >= ROLES.index(needed))
