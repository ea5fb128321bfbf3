"""Which destinations are promised what happens, and which of them said that they are gone."""

GONE = "substr(disabled, 1, 12) = 'answered 410'"
# To one that said so too: if it comes back, nothing is missing there. What a person switched off is promised nothing.
ROUTES = (
    f"SELECT name, settings FROM destination WHERE organization = ? AND (active OR {GONE}) AND kind <> 'subscription'"
    " ORDER BY name"
)
OFF = f"SELECT count(*) FROM destination WHERE NOT active AND kind <> 'subscription' AND {GONE}"
