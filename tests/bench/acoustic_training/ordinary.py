"""Ordinary English for training: made-up sentences outside the grammar, so that the model learns sounds and not only
the grammar's rows of words."""

from __future__ import annotations

import random
import re

WHO = """i|you|we|they|he|she|my brother|my sister|the teacher|our neighbor|the driver|a young girl|
the old man|somebody|everyone|the children|her father|the boss|a friend of mine|the mechanic|the nurse|the farmer|
two men|the cook|your mother|the captain|the crew|the mayor|a stranger|the dog|a doctor|the clerk|our team|
the judge|this guy|that woman""".replace("\n", "")
DID = """bought|sold|found|lost|painted|carried|watched|heard about|wrote about|talked about|looked for|
broke|fixed|cleaned|cooked|remembered|forgot|liked|hated|wanted|needed|asked for|picked up|put down|paid for|moved|
washed|threw away|kept|borrowed|drove past|walked around|dropped|pushed|pulled|measured|counted|turned over|
showed me|gave us|thought of|waited for|laughed at|lived near|jumped over|reached|followed|drew|chose|shook|opened|
closed|closed up|held|cut""".replace("\n", "")
WHAT = """the car|a blue bicycle|some bread|the kitchen table|an orange|a pair of shoes|the newspaper|
a letter|the garden|her phone|the radio|a bottle of milk|three eggs|his watch|the piano|a new jacket|the river|
a big yellow bus|the station|their holiday|a cup of coffee|the answer|a good book|the movie|a long story|the price|
fresh fish|an old photograph|the bridge|the picture on the wall|a heavy box|the keys|the weather|a piece of paper|
the menu|soft music|the thing|this question|that village|the zoo|a quiet place|the beach|thirteen chairs|
thirty chairs|fifteen dollars|fifty dollars|the east coast|the west coast|a measuring tape|the theory|
cheap batteries|a huge pumpkin|the judge|an umbrella|ice cream|the television|a voice|young horses|the zipper|
a vase|a thumb|the truth|leather gloves|a treasure|the usual|a garage sale|vision|pleasure""".replace("\n", "")
WHEN = """yesterday|last week|this morning|every day|on monday|on thursday afternoon|in the evening|
after lunch|before noon|two years ago|in nineteen eighty|in nineteen eighteen|at half past seven|just now|
all the time|once in a while|for an hour|until midnight|next to the church|down the road|across the street|
on the other side|at home|in the city|without a word|with a smile|because it was cheap|but nobody noticed|
so we left|and then it rained|if you ask me|as far as i know|by the window|near the lake|over there|again and again|
in january|in february|in august|for the first time""".replace("\n", "")
OTHER = """how are you doing today|what time is it|i don't know what you mean|that's not what i said|
could you pass the salt|where did you put my glasses|thank you very much|see you tomorrow|i'll be right back|
it doesn't matter at all|let's go and get something to eat|are you coming with us|who was that on the phone|
we should've left earlier|it's been a long day|what a beautiful picture|i can't believe it|the sooner the better|
take your time|never mind the noise|she wasn't there when i called|you've got to be kidding|how much does it cost|
is there anything else|what's for dinner|we'd rather stay here|they won't be long|he hasn't said a thing|
i'm looking forward to it|that would be great|don't forget your jacket|why did you do that|which one do you want|
give me a second|it was a pleasure to meet you|the meeting starts at nine|turn left at the corner|
please shut the door behind you|it's none of your business|you owe me forty dollars|you owe me fourteen dollars|
my phone number is five five five oh one two seven|the flight leaves at six fifteen|the flight leaves at six fifty|
page one hundred and twelve|chapter sixteen|chapter sixty|i used to play football|they argued about the weather|
hold my hand|check your pocket|what's the matter|watch this|charge the battery|open your book|stop talking|
start the music|keep it down|look up there|send me a message|call my mother|i think so|i hope not|maybe later|
probably not|of course|not really|no thanks|good morning|good night|good evening|no way|good idea|no idea|good news|
no news|what about the others|that's the spirit|so long|come over here|read it out loud""".replace("\n", "")
COMMON = """time year people way day man thing woman life child world school state family student group country problem
hand part place case week company system program question work government number night point home water room
mother area money story fact month lot right study book eye job word business issue side kind head house
service friend father power hour game line end member law car city community name president team minute idea
kid body information back parent face others level office door health person art war history party result
change morning reason research girl guy moment air teacher force education foot boy age policy music market
sense nation plan college interest death experience effect use class control field development role effort
rate heart drug show leader light voice wife police mind price report decision son view relationship town
road arm difference value building action season society tax director position player record paper space
ground form event official matter center couple site project activity star table need court oil situation
cost industry figure street image phone data picture practice piece land product doctor wall patient worker
news test movie north love support technology step baby computer type attention film tree source
organization hair look window culture chance brother energy period summer plant opportunity term letter
condition choice rule south husband floor campaign material population economy hospital church risk fire
future bank wish sound rest blood owner fish cup dinner glass answer skin weight chair dog machine paint
river sea shoe shirt spring stone sugar ticket tongue truck uncle village wheel wind winter wood yard yellow
able bad best better big black blue brown certain clean clear cold common dark deep difficult early easy
economic entire federal fine free full general good great green happy hard high hot human huge important
large late little local long low main major military modern natural new nice old open personal physical poor
possible private public ready real recent red serious short significant similar simple single small social
special strong sure true various white whole wrong young accept add agree allow appear apply argue arrive
ask avoid become begin believe break bring build buy call carry catch cause choose come consider continue
cover create cut decide describe develop die discuss draw drive eat enjoy enter explain fall feel fight fill
find finish fly follow forget get give go grow happen hear help hit hold hope identify imagine improve
include increase indicate involve join jump keep kill know laugh lay lead learn leave let lie like listen
live lose maintain make manage mean measure meet mention move offer pass pay pick play prepare prevent
produce protect prove provide pull push put raise reach read realize receive recognize reduce refer reflect
remain remember remove replace require return reveal ride ring rise run save say see seek seem sell send
serve set shake share shoot sing sit sleep smile speak spend stand start stay steal stick stop study suffer
suggest supply suppose swim take talk teach tell tend think throw touch train travel treat try turn
understand visit wait walk want warn wash watch wear win wonder worry write about above across after again
against almost alone along already also although always among another any anything around away because
before behind below between beyond both despite down during each either else enough even ever every
everybody everything except far few finally forward from half here however indeed inside instead just least
less likely many maybe more most much must near nearly never next nobody nor nothing now often once only
other ought out outside over own perhaps please pretty probably quickly quite rather really same several
simply since slowly some somehow something sometimes somewhere soon still such than that their them
themselves then there these they this those though through throughout thus together tomorrow tonight too
toward twice under unless until upon usually very well what whatever when where whether which while who
whole whom whose why with within without would yeah yes yesterday yet thirteen fourteen fifteen sixteen
seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred thousand million
zero one two three four five six seven eight nine ten eleven twelve first second third fourth measure
treasure garage vision usual azure beige church judge cheese jungle youth thirsty thousand smooth breathe
voice noise join oyster boil house mouse shower flower power tower bear pear chair square cure pure tour
poor""".split()


def plain(text: str) -> str:
    """Text as the model writes it: a to z, apostrophe, single spaces."""
    return " ".join(re.sub(r"[^a-z' ]+", " ", text.lower().replace("’", "'")).split())


def ordinary(rng: random.Random) -> str:
    """One sentence of ordinary English, lower case, no punctuation but apostrophes."""
    kind = rng.random()
    if kind < 0.2:
        return rng.choice(OTHER.split("|"))
    if kind < 0.55:
        return " ".join(rng.choice(COMMON) for _ in range(rng.randint(2, 7)))
    parts = [rng.choice(part.split("|")) for part in (WHO, DID, WHAT)]
    if rng.random() < 0.6:
        parts.append(rng.choice(WHEN.split("|")))
    return " ".join(parts)
