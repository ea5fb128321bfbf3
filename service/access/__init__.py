"""Who is asking and what they may do: tokens, scopes and a keyring that remembers for seconds."""
