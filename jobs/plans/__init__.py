"""Work plans: reusable stages, gates and parts for one kind of job."""
