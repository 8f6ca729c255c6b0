"""How a board lies, its coat and its cuts; how fast a place's air goes over the wood, and whether sun reaches it."""

import sqlalchemy as sa
from alembic import op

revision = '0004'
down_revision = '0003'
branch_labels = None
depends_on = None


def upgrade():
    # Added to the table as it stands: every row is left where it is, its speed not known and no sun on it.
    speed = sa.CheckConstraint('air_speed_m_s >= 0', name=op.f('ck_place_fact_air_speed_m_s_not_negative'))
    op.add_column('place_fact', sa.Column('air_speed_m_s', sa.Float(), speed, nullable=True))
    op.add_column('place_fact', sa.Column('in_sun', sa.Boolean(), server_default=sa.false(), nullable=False))
    _facts(
        'board_rest',
        sa.Column('rest', sa.Text(), nullable=False),
        _checked('board_rest', 'case_air_m3', 'case_air_m3 > 0', 'positive', nullable=True),
    )
    _facts(
        'board_coat',
        sa.Column('ends_sealed', sa.Boolean(), nullable=False),
        sa.Column('coat', sa.Text(), nullable=False),
    )
    _facts(
        'board_cut',
        sa.Column('from_board_id', sa.Integer(), nullable=True),
        _checked('board_cut', 'near_m', 'near_m >= 0', 'not_negative'),
        _checked('board_cut', 'far_m', 'far_m > near_m', 'beyond_near_m'),
        sa.ForeignKeyConstraint(['from_board_id'], ['subject.id'], name=op.f('fk_board_cut_from_board_id')),
    )


def _checked(table, name, rule, named, nullable=False):
    check = sa.CheckConstraint(rule, name=op.f(f'ck_{table}_{name}_{named}'))
    return sa.Column(name, sa.Float(), check, nullable=nullable)


def _facts(name, *columns):
    op.create_table(
        name,
        sa.Column('id', sa.Integer(), nullable=False),
        sa.Column('subject_id', sa.Integer(), nullable=False),
        sa.Column('true_at_ms', sa.BigInteger(), nullable=False),
        sa.Column('entered_at_ms', sa.BigInteger(), nullable=False),
        sa.Column('entered_by', sa.Text(), nullable=False),
        sa.Column('supersedes', sa.Integer(), nullable=True),
        sa.Column('withdrawn', sa.Boolean(), nullable=False),
        *columns,
        sa.ForeignKeyConstraint(['subject_id'], ['subject.id'], name=op.f(f'fk_{name}_subject_id')),
        sa.ForeignKeyConstraint(['supersedes'], [f'{name}.id'], name=op.f(f'fk_{name}_supersedes')),
        sa.PrimaryKeyConstraint('id', name=op.f(f'pk_{name}')),
        sa.UniqueConstraint('supersedes', name=op.f(f'uq_{name}_supersedes')),
    )
    op.create_index(op.f(f'ix_{name}_subject_id_true_at_ms'), name, ['subject_id', 'true_at_ms'])
