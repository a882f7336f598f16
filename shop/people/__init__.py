"""Who works here: staff accounts, roles and rights, API tokens, sign-in, the shared bench tablet."""
