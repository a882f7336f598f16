"""Work sent out: what outside firms charge for stages of the kind sublet."""
