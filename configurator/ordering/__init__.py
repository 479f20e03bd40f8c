"""The cheapest parts order that lets every car's day end well: what each needs, and what to buy."""
