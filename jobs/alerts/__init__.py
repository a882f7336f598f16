"""What asks for somebody before it costs a job: one quiet list a day for each person, of what they can do something about."""
