package main

// Help shows examples.
func (jobCmd) Help() string {
	return "Examples:\n  laycast job list\n  laycast job show J-017\n  laycast job hold J-017 --reason \"deposit not paid\""
}

// Help shows examples.
func (jobListCmd) Help() string {
	return "Examples:\n  laycast job list\n  laycast job list --json"
}

// Help shows examples.
func (jobShowCmd) Help() string {
	return "Examples:\n  laycast job show J-017\n  laycast job show J-017 --json"
}

// Help shows examples.
func (callsCmd) Help() string {
	return "Examples:\n  laycast calls\n  laycast calls --now 2027-05-06T20:00:00Z --json\n\n" +
		"A forecast is no permission: the lead hand decides on site."
}

// Help shows examples.
func (profileCmd) Help() string {
	return "Examples:\n  laycast profile\n  laycast profile polyester --json"
}

// Help shows examples.
func (configCmd) Help() string {
	return "Secrets are never printed. Examples:\n  laycast config\n  laycast config --check"
}

// Help shows examples.
func (linkCmd) Help() string {
	return "Whoever has a link can open it: give each to its one reader. Examples:\n" +
		"  laycast link new --crew heron --feed\n  laycast link list"
}

// Help shows examples.
func (linkListCmd) Help() string {
	return "Examples:\n  laycast link list\n  laycast link list --json"
}
