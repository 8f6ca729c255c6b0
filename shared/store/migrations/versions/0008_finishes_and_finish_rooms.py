"""Finishes, finish rooms, what was sprayed there, surfaces measured, and what was acknowledged of unrated devices."""

import sqlalchemy as sa
from alembic import op

revision = '0008'
down_revision = '0007'
branch_labels = None
depends_on = None


def upgrade():
    _facts(
        'finish_fact',
        *(_text(name) for name in ('name', 'basis', 'ingredients')),
        _above_nothing('finish_fact', 'density_kg_m3'),
        sa.Column('flash_point_c', sa.Float(), nullable=True),
        *(sa.Column(name, sa.Boolean(), nullable=True) for name in ('isocyanate', 'formaldehyde', 'self_heating')),
        _above_nothing('finish_fact', 'dry_after_s'),
        _not_below_nothing('finish_fact', 'dew_gap_c'),
        _above_nothing('finish_fact', 'rh_max_pct'),
        sa.Column('surface_min_c', sa.Float(), nullable=True),
        _text('sheet'),
        _text('note'),
        sa.Column('closed', sa.Boolean(), nullable=False),
    )
    _facts(
        'finish_room',
        _above_nothing('finish_room', 'volume_m3', nullable=False),
        _not_below_nothing('finish_room', 'extraction_m3_s'),
        _text('extraction_known'),
        _above_nothing('finish_room', 'mixing_factor', nullable=False),
    )
    _facts(
        'sprayed',
        sa.Column('finish_id', sa.Integer(), nullable=False),
        _above_nothing('sprayed', 'liquid_m3', nullable=False),
        _above_nothing('sprayed', 'duration_s', nullable=False),
        sa.Column('extraction_on', sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(['finish_id'], ['subject.id'], name=op.f('fk_sprayed_finish_id')),
    )
    _facts(
        'surface_reading',
        sa.Column('surface_c', sa.Float(), nullable=False),
        sa.Column('air_c', sa.Float(), nullable=True),
        _not_below_nothing('surface_reading', 'rh_pct'),
        _text('what'),
    )
    _facts('acknowledged', _text('what'), _text('sentence'))


def _text(name):
    return sa.Column(name, sa.Text(), nullable=False)


def _above_nothing(table, name, nullable=True):
    check = sa.CheckConstraint(f'{name} > 0', name=op.f(f'ck_{table}_{name}_positive'))
    return sa.Column(name, sa.Float(), check, nullable=nullable)


def _not_below_nothing(table, name):
    check = sa.CheckConstraint(f'{name} >= 0', name=op.f(f'ck_{table}_{name}_not_negative'))
    return sa.Column(name, sa.Float(), check, nullable=True)


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
