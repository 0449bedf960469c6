"""Help texts of options that several commands have."""

OTHER_REGISTER_HELP = (
    "Continue the job although this is not the register that it was started with. The reason is logged, and printed on "
    "the build sheet."
)

CONTINUE_FROM_HELP = "Begin a new log that takes over what was done under LOG, which is damaged or was left."
