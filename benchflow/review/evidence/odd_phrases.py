"""The words and phrases that a note is judged by, as regular expressions, one for each line.

They are text here, because compiling them takes time. They are compiled for the first note that is judged.

Blanks at the start of a line continue the line before. Each phrase begins at the start of a word; upper and lower case
do not matter. (Common practice, no source.)
"""

from typing import Final

DAMAGE: Final = r"""
(?:bits?|pieces?|scraps?|remains|rests?|traces?) of (?:the |an? )?(?:old )?
    (?:gasket|seal|sealant|rag|paper|metal|plastic|wire|rubber)\b
(?:water|coolant|oil|fuel|dirt|sealant|grease) (?:\w+ )?(?:into|in) (?:the )?(?:cylinder|bore|port|hole|threads?)\b
dripped\b
(?:put|puts|fit|fitted|used|uses|took|refitted|re-?used|kept|stayed with|went (?:back )?(?:in )?with|
    swapped (?:it|them) for|
    cleaned) (?:\w+ ){0,3}old (?:one|ones|part|gasket|seal|ring|washer|shim|bearing|bolt|bolts|stud|studs|nut|
    nuts|tab|tabs)\b
(?:an|one) old (?:one|gasket|seal|ring|washer|bolt|stud|nut|tab|shim) (?:from|off|out of)\b
ran out of (?:\w+ )?(?:lube|oil|sealant|moly|paste|grease|lubricant|thread ?lock\w*|locking|compound)\b
folded (?:over|back|under|up|itself)\b
metal (?:flakes|swarf|particles|slivers|splinters)\b
rounded (?:off|head|corner|nut|bolt)\b
(?:gasket|face|surface|seal|seat|thread|bore|joint|journal)s? (?:was|were|is|are|still) (?:\w+ )?
    (?:damp|wet|dirty|oily|greasy|dusty|rusty)\b
damp\b
smear\b
blocked\b
clogged\b
turned past\b
past the mark\b
fell (?:on|to|over|onto)\b
(?:stud|insert|thread|bolt|plug|dowel)s? (?:\w+ )?pulled out\b
swapped (?:front|left|right|over|with|ends|sides|round|by mistake)\b
mixed (?:\w+ )?with (?:another|the other|one|others)\b
creas(?:e|es|ed)\b
crack(?:s|ed|ing)?\b(?! (?:\w+ ){0,3}(?:loose|open|off)\b)
hair ?line\b
nick(?:s|ed)?\b
burr(?:s|ed)?\b
scor(?:ed|ing)\b
scratch(?:es|ed)?\b(?! (?:paper|pad|awl|card|pen|build|made))
goug(?:e|es|ed)\b
dent(?:s|ed)?\b
ding(?:s|ed)\b
bent\b(?! (?:over|up|down) )
torn\b
tear(?:s)?\b(?![- ]?down)
ripped\b
frayed\b
perish(?:ed)?\b
strip(?:ped|ping)\b(?! (?:down|and|for|the|off|it down))
cross[- ]?thread(?:s|ed|ing)?\b
thread(?:s)? (?:\w+ )?(?:pulled|gone|damaged|yielded)\b
pulled (?:the |a )?threads?\b
yielded\b
pitt?(?:s|ed|ing)\b
chip(?:s|ped)?\b(?! shop)
warp(?:s|ed|ing)?\b
distort(?:ed|ion)\b
corro(?:ded|sion|des)\b
leak(?:s|ed|ing|y|age)?\b(?![- ]?(?:test|check|down))
weep(?:s|ing)\b
seep(?:s|ed|ing|age)\b
drip(?:s|ping)\b
broke\b(?! (?:for|loose|the (?:bond|seal|ice|glaze)))
broken\b(?! in\b)
snapped\b
shear(?:ed|s)\b
split\b(?!(?:ting)?[- ](?:pin|ring|collet|collar|washer|case|bearing|the (?:case|job|work|bill)))
gall(?:ed|ing)\b
seiz(?:ed|ing|es)\b
scuff(?:s|ed|ing)?\b
fretting\b
burn(?:t|ed)\b
blued\b
worn\b
damag(?:e|ed|es)\b
kink(?:s|ed)?\b
crush(?:ed)\b
pinch(?:ed)\b
twisted\b
mangled\b
bruis(?:e|ed)\b
oval\b
egg[- ]shaped\b
out[- ]of[- ](?:round|true)\b
dry threads?\b
threads? (?:\w+ )?dry\b
(?:fitted|went in|put in|assembled) dry\b
over[- ]?(?:torqued|tightened|shot|stretched)\b
went past (?:the|its)\b
swarf\b
debris\b
foreign (?:body|matter)\b
contaminat(?:ed|ion)\b
upside down\b
back to front\b
wrong way (?:round|up|a?round)\b
fell (?:in|into|down|off|out)\b
misalign(?:ed|ment)\b
off[- ]cent(?:re|er)\b
cocked\b
double[- ](?:torqued|tightened)\b
(?:blue|low|high|hard|soft) spots?\b
(?:was |is |been |has )?stretched\b
metal (?:filings|shavings|chips|bits|dust|in|on)\b
brought out (?:some )?metal\b
ridge\b
bottomed\b
(?:can|could) feel (?:a|an|it|the|with)\b
feel with (?:a|the|my) (?:nail|finger)
slid\b
kept turning\b
(?:studs?|bolts?|nuts?|threads?|screws?) (?:were|are|was|is|went in|went on) dry\b
already dry\b
oil on the (?:\w+ )?(?:face|faces|surface|surfaces|seat)\b
full of (?:oil|dirt|sealant|grit|water|swarf|rust|grease)\b
no (?:dowel|washer|gasket|seal|o-?ring|clip|circlip|lock\w*|sealant|lubricant|spring|pin|key|shim|bolt|nut|
    oil)s?\b(?= (?:in|on|under|behind|fitted|there|left|at)\b)(?! (?:on|in) (?:the )?(?:\w+ )?(?:face|faces|
    surface|floor|bench))
blister(?:s|ed)?\b
porous\b
brittle\b
soft spot\b
knock(?:s|ing)\b
smok(?:e|es|ing)\b
without (?:the |a |any |its )?(?:washer|oil|sealant|lube|lubricant|grease|gasket|seal|ring|dowel|
    thread ?lock\w*|locking)
"""
"""Damage, dirt, or a wrong fit."""

UNEASE: Final = r"""
(?:went|came|got|gets|goes|comes|becomes|became) tight\b
only (?:\w+ ){0,3}(?:half|turns?|threads?)\b
(?:my|his|her) own\b
marks? (?:has |have |had )?(?:moved|shifted|turned|gone)\b
not the (?:\w+ )?(?:part number|right|same|correct|type|size|number)\b
rust(?:y|ed|ing)?\b(?! (?:remover|converter|inhibitor))
(?:growl|rumbl|grumbl|howl|clunk|chatter|judder|vibrat|humm|click(?:s|ing) when|click(?:s|ing) as)\w*
WD\b
weak\b
(?:look|looks|looked|seem|seems|seemed|was|is|are|were) (?:a bit |rather |quite |very |somewhat |so )?
    (?:thin|tired|old|thick|used|rusty|dirty|large|small|short|blue|dark|dull)\b
thin (?:at|in|near|on)\b
click(?:ed|s)? (?:early|late|before|too)\b
hit the\b
thread(?:ed)? inserts?\b
insert fitted\b
from memory\b
I (?:think|thought|guess|believe|suppose)\b
(?:looks?|looked|seems?|seemed) (?:ok|okay|fine|all right|alright|right|good) to me\b
not (?:replaced|changed|renewed|cleaned|measured|checked|torqued|tightened|oiled|greased|fitted|done|marked|deburred|
    inspected|tested|lubricated|calibrated|new)\b
(?:nut|bolt|stud|screw)s? (?:\w+ )?turns? freely\b
(?:too|very|really|rather|quite|pretty|bit|little|felt|feels|went in|goes in|turn(?:s|ed)|was|is) tight\b
tight (?:spot|place|to turn|going|in one|at)\b
stiff\b
grit(?:ty)?\b
rough\b
notchy\b
crunch(?:y|ed)\b
forc(?:e|ed|ing) (?:it|them|the|in)\b
forced\b
hammer(?:ed)?\b
persuad(?:e|ed)\b
pr[iy](?:ed|sed)\b
(?:felt|feels|looks?|sounds?|seem(?:s|ed)?) (?:\w+ )?(?:wrong|odd|strange|funny|weird|soft|off|different|
    rough|spongy|bad)\b
(?:looks?|sounds?|seem(?:s|ed)?|felt|feels) (?:a bit|slightly|somewhat) \w+
not (?:so |too |quite |very |really |entirely |completely |fully |absolutely |100 ?% )?(?:sure|certain|happy|
    convinced|right|flat|flush|seated|square|straight|level|clean|home|true|smooth|even|perfect|ideal|great|nice|
    good|down|in fully|all the way|possible)\b
unsure\b
uncertain\b
doubt(?:s|ful)?\b
suspicious\b
odd(?:ly)?\b
strange(?:ly)?\b
weird(?:ly)?\b
unusual(?:ly)?\b
funny (?:noise|feel\w*|sound|smell)\b
loose\b
wobbl(?:e|es|y|ed)\b
rock(?:s|ing|ed)?\b
left (?:\w+ ){1,4}(?:for|until|till) (?:tomorrow|later|monday|next)\b
old \w+ (?:is |went )?(?:in|into|on|at) (?:the )?(?:\w+ )?(?:hole|place|bore|seat|position|number|stud|cylinder)\b
(?:some|too much|has|a lot of) play\b
slack\b
drop(?:ped|s)\b(?! (?:\w+ ){0,3}(?:off|by|round|in)\b)
let (?:it|them) fall\b
slip(?:ped|s|ping)\b
bump(?:ed)\b
knocked (?:it|the)\b
banged\b
hop(?:e|ing|efully)\b
fingers crossed\b
(?:should|will|must|might|may|ought to) (?:\w+ )?(?:be )?(?:fine|ok|okay|all right|alright|good enough|hold|
    do|work|seal|settle)\b
good enough\b
close enough\b
near enough\b
probably\b
maybe\b
perhaps\b
possibly\b
(?:could|can|would|will|did|does|do|was|were|is|has|had)(?: not|n['’]?t)\b(?! (?:need|needed|have to|matter|
    necessary|required))
cannot\b
unable\b
fail(?:s|ed|ure)?\b
miss(?:ing|ed)\b
lost (?:count|track|the count|a|one|the)\b
instead of\b
in place of\b
substitut(?:e|ed)\b
forgot(?:ten)?\b
skip(?:ped|s)?\b
left out\b
omitted\b
left (?:it|them) (?:as|at|in|out|off|like|that)\b
guess(?:ed|ing)?\b
eyeball(?:ed)?\b
by (?:eye|feel|ear)\b
roughly\b
estimat(?:e|ed)\b
improvis(?:ed|e)\b
bodg(?:e|ed)\b
wrong(?:ly)?\b
mistake\b
mix(?:ed)? (?:\w+ )?up\b
confus(?:ed|ing)\b
interrupted\b
in a (?:hurry|rush)\b
rushed\b
no time\b
ran out of\b
(?:much |far |a lot )?(?:easier|harder|softer|tighter|looser|hotter|heavier|lighter|shorter|longer|later|
    earlier|higher|lower|less|more) than (?:the |it |usual|normal|expected|last|before|all)
(?:came|comes|come) up (?:\w+ )?(?:late|early|soft|short)\b
soft (?:at|near|in|towards?|when)\b
spong(?:y|e)\b
bind(?:s|ing)?\b
jam(?:s|med)\b
stuck\b
stick(?:s|ing)\b
catch(?:es|ing)\b
drag(?:s|ged|ging)\b
rub(?:s|bing)\b
scrap(?:es|ing|ed)\b
squeak(?:s|ed|y|ing)?\b
creak(?:s|ed|ing)?\b
squeal(?:s|ed|ing)?\b
grind(?:s|ing) (?:noise|sound|when|feel)
rattl(?:e|es|ed|ing)\b
nois(?:e|y)\b
whin(?:e|es|ing)\b
tick(?:s|ing) (?:noise|sound)\b
smell(?:s|ed)? (?:burn|of|like|hot|odd|funny)
still (?:some|a bit|a little|there|wet|oily|dirty|greasy|visible|marked|loose|tight|on it|feels?|has|have|
    out)\b
(?:some|bit of|little|traces? of) (?:dirt|oil|grease|grit|dust|sand|water|coolant|sealant|old sealant|
    paint) (?:\w+ )?(?:on|in|left|under|behind)\b
dirt(?:y)? (?:in|on|under|behind)\b
(?:cleaned|reused|re-used|used|kept|put back|refitted|took|fitted) (?:the |an? |up the )?old (?:one|ones|part|
    bolt|bolts|stud|studs|nut|nuts|gasket|seal|ring|washer|shim|bearing|shells?|tab|tabs)\b
re-?used\b
second[- ]hand\b
(?:had|have|got|there (?:is|was)|with) no (?:new|spare|other|fresh)\b
no new\b
(?:a bit|a little|slightly|somewhat) (?:off|high|low|long|short|proud|uneven|crooked|skewed|tilted|big|small|
    thick|thin|warm|hot|wet|oily|deep|shallow)\b
crooked\b
uneven(?:ly)?\b
skew(?:ed)?\b
tilted\b
proud\b
lopsided\b
gap (?:on|at|under|in|between)\b
too (?:long|short|big|small|thick|thin|deep|hot|cold|late|early|soft|hard|loose|much|little|far|high|low|wide|
    narrow|fast|slow)\b
only (?:half|part(?:ly)?|some)\b
half[- ](?:done|way|in|seated)\b
not all\b
unfinished\b
must (?:look|check|come back)\b
check (?:again|later|this)\b
keep an eye\b
watch (?:this|it|out)\b
worr(?:y|ied|ies)\b
ugly\b
dodgy\b
suspect\b
problem\b
trouble\b
issue\b
poor(?:ly)?\b
bad(?:ly)?\b
used (?:\w+ ){0,2}(?:hammer|pliers|chisel|screwdriver|grinder|file|grips)\b
hel(?:d|ping) (?:it )?with (?:pliers|grips)\b
spun\b
turn(?:s|ed) without\b
gave (?:way|a bit|a little)\b
jump(?:ed|s)\b
lift(?:ed|s) (?:off|again|on one)\b
mov(?:ed|es) (?:\w+ )?(?:when|while|under)\b
shift(?:ed)\b
tacky\b
skinned\b
(?:already|had) (?:set|cured|dried|hard|gone off)\b
gone off\b
expired\b
out of date\b
past its date\b
"""
"""Unease of the person at the bench."""

UNEASE_ALWAYS: Final = r"""
interrupted\b
lost (?:my |the |our )?(?:place|count|track)\b
never (?:click|seat|settl|reach|came|got|went)\w*\b
had to (?:force|ream|tap|hammer|use|bend|file|grind|drill|chase|pull|push|knock|lever|heat|cut|shim|pack|try|
    turn|squeeze)\b
turned hard\b
(?:twice|two times) (?:at|on|by mistake)\b
click(?:ed|s)? twice\b
"""
"""Unease that another subject in the sentence, such as the telephone, does not explain."""
