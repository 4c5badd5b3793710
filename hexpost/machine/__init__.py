"""Machine, tools and setup files: TOML to frozen data, all faults in one go."""
