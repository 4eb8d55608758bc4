"""Every change to people, projects, memberships, links and tokens."""
