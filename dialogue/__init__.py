"""From words to use cases to words: understanding, policy, actions, phrases."""
