"""What each address of the interface answers to programs of owner, contractor and authority.

(Name of the address, method): (thing in it, scope that it needs, owner of the site, contractor
engaged there, authority of it). "ok" is anything that gets past the question of who asks.
"""

Row = tuple[str, str, str, str, str]

API: dict[tuple[str, str], Row] = {
    ("token", "get"): ("", "", "ok", "ok", "ok"),
    ("evaluate", "post"): ("", "evaluate", "ok", "ok", "ok"),
    ("sites", "get"): ("", "read", "ok", "ok", "ok"),
    ("site", "get"): ("site", "read", "ok", "ok", "ok"),
    ("site", "patch"): ("site", "registry", "ok", "403", "403"),
    ("systems", "get"): ("", "read", "ok", "ok", "ok"),
    ("system", "get"): ("system", "read", "ok", "ok", "ok"),
    ("proportioners", "get"): ("", "read", "ok", "ok", "ok"),
    ("proportioner", "get"): ("proportioner", "read", "ok", "ok", "ok"),
    ("trend", "get"): ("proportioner", "read", "ok", "ok", "ok"),
    ("equipment_list", "get"): ("", "read", "ok", "ok", "ok"),
    ("equipment", "get"): ("equipment", "read", "ok", "ok", "ok"),
    ("tanks", "get"): ("", "read", "ok", "ok", "ok"),
    ("tank", "get"): ("tank", "read", "ok", "ok", "ok"),
    ("lots", "get"): ("", "read", "ok", "ok", "ok"),
    ("lot", "get"): ("lot", "read", "ok", "ok", "ok"),
    ("lot", "patch"): ("lot", "registry", "ok", "403", "403"),
    ("instruments", "get"): ("", "read", "ok", "ok", "ok"),
    ("instrument", "get"): ("instrument", "read", "404", "ok", "404"),
    ("instrument", "patch"): ("instrument", "registry", "404", "ok", "404"),
    ("duties", "get"): ("", "read", "ok", "ok", "ok"),
    ("duty", "get"): ("duty", "read", "ok", "ok", "ok"),
    ("findings", "get"): ("", "read", "ok", "ok", "ok"),
    ("finding", "get"): ("deficiency", "read", "ok", "ok", "ok"),
    ("impairments", "get"): ("", "read", "ok", "ok", "ok"),
    ("impairment", "get"): ("impairment", "read", "ok", "ok", "ok"),
    ("overdue_rules", "get"): ("", "read", "ok", "ok", "ok"),
    # As below: test_overdue.py asks who may.
    ("overdue_rules", "post"): ("", "rules", "ok", "ok", "ok"),
    ("overdue_rule", "get"): ("overdue rule", "read", "ok", "ok", "ok"),
    ("overdue_rule", "patch"): ("overdue rule", "rules", "ok", "403", "403"),
    ("site_overdue", "get"): ("site", "read", "ok", "ok", "ok"),
    ("inspections", "get"): ("", "read", "ok", "ok", "ok"),
    # Without a body nobody is told more than that one is needed; test_inspections.py asks who may.
    ("inspections", "post"): ("", "hand_in", "ok", "ok", "ok"),
    ("photos", "post"): ("", "hand_in", "ok", "ok", "ok"),
    ("entries", "post"): ("", "hand_in", "ok", "ok", "ok"),
    ("inspection", "get"): ("inspection", "read", "ok", "ok", "ok"),
    ("visits", "get"): ("", "read", "ok", "ok", "ok"),
    ("visit", "get"): ("visit", "read", "ok", "ok", "ok"),
    ("tests", "get"): ("", "read", "ok", "ok", "ok"),
    ("tests", "post"): ("", "hand_in", "ok", "ok", "ok"),
    ("bulk", "post"): ("", "hand_in", "ok", "ok", "ok"),
    ("day", "get"): ("visit", "read", "ok", "ok", "ok"),
    ("test", "get"): ("draft", "read", "404", "ok", "404"),
    ("sealed", "get"): ("sealed", "read", "ok", "ok", "ok"),
    ("report", "get"): ("sealed", "read", "ok", "ok", "ok"),
    ("checks", "get"): ("", "read", "ok", "ok", "ok"),
    ("checks", "post"): ("", "hand_in", "ok", "ok", "ok"),
    ("check", "get"): ("draft check", "read", "404", "ok", "404"),
    ("laboratory_reports", "post"): ("draft check", "hand_in", "404", "ok", "404"),
    ("check_sealed", "get"): ("sealed check", "read", "ok", "ok", "ok"),
    ("check_report", "get"): ("sealed check", "read", "ok", "ok", "ok"),
}
