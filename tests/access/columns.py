"""Who else asks than a manager, and what the tables say to each by a few rules.

The tables (`table.py`, `api_table.py`) say what managers of the owner, of the contractor that made
the things, and of the authority are answered. Everybody else follows from that:

- a member or supervisor is answered as the manager, but for what asks for the role;
- another contractor that is engaged at the same site as the one that made the things, but that
  what the other is at work on is not there, and its deeds on what is sealed are not for it;
- a contractor whose engagement is over sees what it made and nothing else of the site;
- whoever is of another organisation sees nothing of it, and who was removed is let in nowhere.
"""

KINDS = ("owner", "contractor", "authority")
ROLES = ("member", "supervisor", "manager")

# Things that are nobody's own: what a foreigner gets follows from the kind of person alone.
EVERYBODYS = {"", "kind of table", "kind of record", "programme", "clock", "size", "rule"}
# Of one person, whatever the role of a colleague.
PERSONAL = {"batch", "session"}

# What a manager does, by the names of addresses. Of these the role is asked before the thing.
ROLE_FIRST = {
    "person_role", "person_remove", "invitation", "invitation_again", "invitation_withdraw",
    "token", "token_revoke",
}  # fmt: skip
MANAGERS = ROLE_FIRST | {
    "invite", "contractor_invite", "read_links", "read_link_new", "read_link", "read_link_revoke",
    "tokens", "token_new",
}  # fmt: skip
# What holds beyond the day, and what a member of the crew is not qualified to say.
LEADS = {
    "site_archives", "archive_ask", "archive", "archive_cancel", "archive_file",
    "keeping_sites", "keeping", "keeping_decide", "keeping_decision", "keeping_take_back",
    "keeping_rules", "keeping_adopt", "keeping_end", "keeping_own", "keeping_papers",
    "site_authority_new", "site_authority_take_back", "site_authority_end",
    "site_authority_go_on", "grant_new", "grant_end", "grant_go_on", "contractor_reassign",
    "site_retire", "site_take_back", "system_retire", "system_take_back", "proportioner_retire",
    "proportioner_take_back", "tank_retire", "tank_take_back", "equipment_retire",
    "equipment_take_back", "programme_adopt", "adoption_end", "adoption_terms",
    "confirmation_take_back", "consent_answer", "decision_rule", "deficiency_class",
    "deficiency_end", "deficiency_close", "impairment_end", "clock_adopt", "clock_end",
    "overdue_rule_new", "overdue_rule_end", "sign", "amend", "check_sign", "check_amend",
}  # fmt: skip
# Anybody of the owner sends back what it does not believe; of the crew it is who may sign.
LEADS_OF_THE_CREW = {"send_back", "check_send_back"}
# Where a page opens to more than may press its button: what the press is answered.
BY_POST = {
    "choose_membership": ("404", "404", "404"),  # a membership that nobody named is not there
    "adoption": ("ok", "403", "403"),
}
LEADS_BY_POST = {"adoption"}

# What a contractor is at work on, and what lies between it and others: only it sees them.
MAKERS = {
    "instrument", "certificate", "grant", "question", "witness", "draft check", "bottle", "value",
    "laboratory report", "visit", "visit and size", "draft", "draft and label", "draft and point",
    "draft and bottle", "draft and reading", "direct draft", "direct run", "run", "sample", "step",
    "line", "import", "batch", "many days",
}  # fmt: skip
# Deeds on what others see that only the maker does.
MAKERS_DEEDS = {
    "inspection_correct", "check_sign", "check_send_back", "check_amend", "sign", "send_back",
    "amend", "past_withdraw", "past_check_withdraw",
    "past_inspection_withdraw",
}  # fmt: skip
# What else of its own it reads when its time is over, and what it does not do any more.
STILL_READ = MAKERS | {
    "sealed", "sealed and size", "sealed check", "sealed check and size",
    "sealed laboratory report", "inspection", "line of inspection", "past result",
    "past check", "past inspection",
}  # fmt: skip
NOT_AFTERWARDS = {
    "amend",
    "check_amend",
    "test_new",
    "past_withdraw",
    "past_check_withdraw",
    "past_inspection_withdraw",
}


def expected(who: str, name: str, method: str, thing: str, own: tuple[str, ...]) -> str:
    """What that person is answered at a page; `own` as the table has it for the three managers."""
    first, kind = who.split()
    if first == "removed":
        return "403"
    by_manager = (BY_POST if method == "post" else {}).get(name, own)[KINDS.index(kind)]
    if first == "foreign":
        return by_manager if thing in EVERYBODYS else "404"
    if first == "another":
        if thing in MAKERS:
            return "404"
        return "403" if name in MAKERS_DEEDS else by_manager
    if first == "former":
        if thing not in STILL_READ | EVERYBODYS:
            return "404"
        return "403" if name in NOT_AFTERWARDS else by_manager
    return by_role(first, kind, name, method, thing, by_manager)


def by_role(role: str, kind: str, name: str, method: str, thing: str, by_manager: str) -> str:
    if role == "manager":
        return by_manager
    if name in ROLE_FIRST:
        return "403"
    if by_manager != "ok":
        return by_manager
    if thing in PERSONAL:
        return "404"
    leads = LEADS | (LEADS_OF_THE_CREW if kind == "contractor" else set())
    if method == "post":
        leads = leads | LEADS_BY_POST
    return "403" if name in (MANAGERS if role == "supervisor" else MANAGERS | leads) else "ok"


# Of the interface: what a supervisor or manager reads and does there.
API_LEADS = {
    "keeping_rules", "keeping_adoptions", "keeping_periods", "keeping_period", "keeping_sites",
    "site_keeping", "site_keeping_files", "keeping_decisions", "keeping_decision",
}  # fmt: skip
API_LEADS_BY_PATCH = {"overdue_rule"}


def expected_of_program(
    who: str, name: str, method: str, thing: str, own: tuple[str, ...]
) -> str:  # fmt: skip
    """What the program of that person is answered."""
    first, kind = who.split()
    if first == "removed":
        return "401"
    by_manager = own[KINDS.index(kind)]
    if first == "foreign":
        return by_manager if thing in EVERYBODYS else "404"
    if first == "another":
        return "404" if thing in MAKERS else by_manager
    if first == "former":
        return by_manager if thing in STILL_READ | EVERYBODYS else "404"
    leads = API_LEADS | (API_LEADS_BY_PATCH if method == "patch" else set())
    return "403" if first == "member" and by_manager == "ok" and name in leads else by_manager
