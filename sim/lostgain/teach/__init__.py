"""Teaching: routes for the wall, explanations of a unit, drills and their scoring."""
