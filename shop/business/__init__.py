"""The business itself: profile and letterhead, sites, working hours, tax and labour rates."""
