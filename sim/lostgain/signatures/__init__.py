"""Which analyses serve which readings; building, storing and opening signature tables; predictions."""

from lostgain.signatures.build import table
from lostgain.signatures.gains import StageGain, stage_gains
from lostgain.signatures.poweroff import power_off
from lostgain.signatures.predict import Prediction, State, predict
from lostgain.signatures.sentences import sentences
from lostgain.signatures.table import Table

__all__ = ["Prediction", "StageGain", "State", "Table", "power_off", "predict", "sentences", "stage_gains", "table"]
